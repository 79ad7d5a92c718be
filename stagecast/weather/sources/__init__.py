"""Where temperatures come from, one source a module."""
