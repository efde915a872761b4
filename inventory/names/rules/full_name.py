"""A name with its qualifier, as the house writes it."""

from .verdicts import PLAIN_OPEN


def full_name(name: str, qualifier: str) -> str:
    """ "Urticina cf. felina"; the name alone when the qualifier says no more than the genus does."""
    if qualifier.casefold().rstrip(".") in ("", *PLAIN_OPEN) or f" {qualifier}" in name:
        return name
    genus, _, rest = name.partition(" ")
    return f"{genus} {qualifier} {rest}".strip()
