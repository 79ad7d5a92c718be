"""When to be back in every field, and why."""
