"""The pages and forms served on this computer."""
