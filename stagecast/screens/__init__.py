"""What the commands show in a terminal."""
