"""Match a motor log's clock to a speed log."""
