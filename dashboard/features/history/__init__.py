"""The page "History"."""
