"""Pages that people look at: each one file, without anything fetched from anywhere."""
