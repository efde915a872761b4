"""Spoilt files of every kind that the house reads, and what must hold of each."""
