"""What the tank side reads from files."""
