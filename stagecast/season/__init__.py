"""The consultant's folder for one year: settings, fields and what was seen in them."""
