"""Charging source and battery of a vehicle against what hangs on them."""
