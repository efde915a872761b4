"""How a typed name is read, compared and judged. Pure: no Django, no database."""
