"""Words made from values, for every screen, page and file."""
