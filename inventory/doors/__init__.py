"""What every door of the house shares: the clock, and the forms that output takes."""
