"""Readings of an installation: what is expected, how far it may lie off, and what is at fault."""
