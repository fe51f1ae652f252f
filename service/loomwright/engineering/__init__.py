"""Formulas in coherent SI units; no web, file, clock or unit library is known here."""
