"""Asking GBIF: the manners of the house (settings) and the one client. No page waits for it."""
