"""What the forecast means for the week: windows, revisit intervals and the plan."""
