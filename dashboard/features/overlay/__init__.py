"""Passes overlaid on one axis."""
