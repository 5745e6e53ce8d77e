"""The page "After the water"."""
