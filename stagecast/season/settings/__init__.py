"""season.toml and the season's own pests and thresholds."""
