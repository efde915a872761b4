"""Which kept papers the pages of a census show by their hash, and to whom: pictures of what was written in.

A scan of a sheet is not among them. It has an address of its own, for it tells what the first counter found.
"""

from collections.abc import Collection

from inventory.book import blind
from inventory.book.models import Document
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..models import LinePicture
from ..rules.who import COMPARES


def shows(document: Document, person: Person, roles: Collection[Role]) -> bool:
    """To who compares, and counts nothing now."""
    if set(roles).isdisjoint(COMPARES) or not LinePicture.objects.filter(document=document).exists():
        return False
    return not blind.hidden_from(person)
