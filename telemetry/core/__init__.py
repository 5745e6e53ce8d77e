"""Shared foundation: tables, geometry, units, errors, progress, paths."""
