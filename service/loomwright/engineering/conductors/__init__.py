"""Conductors: resistance, heat, ampacity, and the choice of the smallest that serves."""
