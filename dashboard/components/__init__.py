"""Reusable pieces of pages: view models in, Dash components out."""
