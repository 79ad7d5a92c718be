"""What traps near a field caught, this year and before."""
