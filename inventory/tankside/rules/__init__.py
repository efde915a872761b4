"""Pure functions of the tank side."""
