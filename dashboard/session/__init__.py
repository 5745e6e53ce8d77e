"""What one browser tab has loaded, its jobs and its uploads."""
