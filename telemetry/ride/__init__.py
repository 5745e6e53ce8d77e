"""Judge how a pass rode: porpoising, blow-overs, veers."""
