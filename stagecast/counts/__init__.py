"""Counts against thresholds."""
