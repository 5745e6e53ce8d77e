"""The page "Before and after"."""
