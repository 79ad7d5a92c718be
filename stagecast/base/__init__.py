"""Errors, dates, tables and files: what every room stands on."""
