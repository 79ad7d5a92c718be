"""The guide: one Markdown file a topic beside this one, and the module that finds them."""
