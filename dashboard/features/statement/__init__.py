"""The statement of a two-way."""
