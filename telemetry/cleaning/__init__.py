"""Flag samples that cannot be trusted; nothing is dropped in silence."""
