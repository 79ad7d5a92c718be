"""The week's route and what waiting costs."""
