"""The tables of a season folder."""
