"""Loomwright: the engineering and the pricing behind a vehicle installation."""

from importlib.metadata import version

__version__ = version("loomwright")
