"""Drawings and charts as SVG, each computed from what the engineering or a plan says."""
