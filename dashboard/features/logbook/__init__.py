"""The page "Logbook"."""
