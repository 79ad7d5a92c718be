"""Heat, day length, crop stages and pest development: pure numpy, no files, no clock."""
