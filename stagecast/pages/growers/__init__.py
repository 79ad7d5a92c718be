"""Pages for growers: one of a field, and a letter of all their fields."""
