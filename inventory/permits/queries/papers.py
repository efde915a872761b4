"""Which kept papers the pages of permits, returns, notices and loans show, and to whom."""

from collections.abc import Collection

from inventory.book import blind
from inventory.book.models import Document
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..models import LoanConfirmation, LoanExtension, NoticeSending, PermitDocument, ReturnFile, ReturnSending
from ..who import KEEPS, READS_CASES


def shows(document: Document, person: Person, roles: Collection[Role]) -> bool:
    """Permits are read by all; what was written of returns and deaths by who reads cases. Seven queries.

    Letters tell how many animals there are: who counts anywhere now gets them when the sheet is handed in.
    """
    held = set(roles)
    if PermitDocument.objects.filter(document=document).exists():
        return True
    if held.intersection(KEEPS) and ReturnFile.objects.filter(document=document).exists():
        return True
    if held.intersection(READS_CASES) and ReturnSending.objects.filter(receipt=document).exists():
        return True
    tells = (
        *((NoticeSending,) if held.intersection(READS_CASES) else ()),
        *(LoanConfirmation, LoanExtension),
    )
    if not any(kind.objects.filter(document=document).exists() for kind in tells):
        return False
    return not blind.hidden_from(person)
