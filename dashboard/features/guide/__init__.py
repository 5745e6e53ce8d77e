"""The page "Guide"."""
