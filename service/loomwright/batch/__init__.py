"""Packages for vehicles, priced by the array."""
