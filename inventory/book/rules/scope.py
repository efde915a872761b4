"""Which animals a figure counts."""

from enum import StrEnum


class Scope(StrEnum):
    """Whose animals count, and where."""

    HERE = "here"
    """On the premises, whoever owns them."""
    OURS = "ours"
    """Owned by the house, wherever they are."""
    ALL = "all"
    """Both."""

    def holds(self, *, off_site: bool, owner: str) -> bool:
        """True when animals of ``owner`` ("" is the house) at such a place are counted."""
        if self is Scope.HERE:
            return not off_site
        return self is Scope.ALL or owner == ""
