"""Growth stages of every field as ranges, from weather and what was seen."""
