"""Tables and settings of a season changed at the desk."""
