"""The field sheet for the phone: its rules, its fields, its page."""
