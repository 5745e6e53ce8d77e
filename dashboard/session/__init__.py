"""The logs that one browser tab has loaded, its jobs and its uploads."""
