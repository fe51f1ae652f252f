"""Readable documents made from answers."""
