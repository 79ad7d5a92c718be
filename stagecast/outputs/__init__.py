"""How results reach a person or another program: tables, JSON and CSV."""
