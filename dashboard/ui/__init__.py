"""Pieces of screen and figure that features share."""
