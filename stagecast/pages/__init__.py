"""Pages as HTML files."""
