"""The page "Bench"."""
