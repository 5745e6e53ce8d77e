"""Two-way averages: rules, pairs of passes, checks and the mean."""
