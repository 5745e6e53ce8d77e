"""Every sentence that a user reads."""
