"""When pests are about, by heat, catches and stages, and their thresholds."""
