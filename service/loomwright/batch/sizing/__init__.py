"""Conductors and fuses of many rows of one job."""
