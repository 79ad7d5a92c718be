"""The route as plain numbers: a problem, and ways to solve it."""
