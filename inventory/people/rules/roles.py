"""What a person may do in the house. The only list of roles; the groups are made from it."""

from collections.abc import Collection, Iterable
from enum import StrEnum


class Role(StrEnum):
    """Each is a Django group of the same name; a person may have several."""

    COUNTER = "counter"
    AQUARIST = "aquarist"
    TYPIST = "typist"
    REGISTRAR = "registrar"
    PERMIT_OFFICER = "permit_officer"
    CURATOR = "curator"
    VETERINARIAN = "veterinarian"
    INSPECTOR = "inspector"
    ADMINISTRATOR = "administrator"

    @property
    def words(self) -> str:
        """As it is written on a page: "permit officer"."""
        return self.value.replace("_", " ")


def in_words(roles: Iterable[Role], *, joined: str) -> str:
    """ "aquarist, curator or registrar", in the order of the list of roles."""
    words = [role.words for role in Role if role in set(roles)]
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {joined} {words[-1]}"


def not_allowed(name: str, roles: Collection[Role], needed: Collection[Role], what: str) -> str:
    """Why this person may not do ``what`` ("open a census"); empty when they may."""
    if not set(roles).isdisjoint(needed):
        return ""
    return f"{name} may not {what}: it is for the role {in_words(needed, joined='or')}"
