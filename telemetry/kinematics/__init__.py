"""Smoothed speed, course and position of a log, with their uncertainty."""
