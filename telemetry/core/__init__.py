"""What every stage stands on: tables, geometry, units, errors, progress, paths."""
