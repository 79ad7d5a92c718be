"""stagecast: which soybean fields to walk, on which day, and what to look for there."""

__version__ = "0.1.0"
