"""The scouting log: visits, counts and treatments."""
