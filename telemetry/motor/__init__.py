"""Motor logs: clock, power, pack, limits and what-if."""
