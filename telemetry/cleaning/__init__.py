"""Flag samples that cannot be trusted; none is dropped without a finding."""
