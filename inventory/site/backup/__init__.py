"""Copies of the whole house that can be proved, and the way back from one."""
