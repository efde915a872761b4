"""Which causes together explain the differences of a house: pure rules, no Django."""
