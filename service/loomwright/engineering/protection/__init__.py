"""Protection: short circuits, damage to conductors, fuses and how they coordinate."""
