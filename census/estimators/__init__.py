"""Numbers from counts that cannot see everything: estimates with their intervals and their limits."""
