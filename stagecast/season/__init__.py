"""A consultant's season folder."""
