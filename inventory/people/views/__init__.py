"""Pages of people: signing in, the own sign-in, who may what, devices and codes."""
