"""Corrections by hand: stretches cut, values restored, clocks set."""
