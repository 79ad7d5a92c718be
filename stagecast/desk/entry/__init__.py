"""Entries of the log at the desk: their forms, what is wrong with them, and what they mean."""
