"""Save an outing in the logbook."""
