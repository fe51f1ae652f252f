"""Inputs of a run, read from files."""
