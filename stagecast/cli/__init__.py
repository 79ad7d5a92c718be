"""Thin commands: parse, call the rooms below, print."""
