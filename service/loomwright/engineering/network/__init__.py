"""Operating points of sources and loads: one load in closed form, and networks."""
