"""Tables in and sheets out: what the desk and a phone or a spreadsheet hand each other."""
