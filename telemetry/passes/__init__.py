"""Find passes and measure their speeds."""
