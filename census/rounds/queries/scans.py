"""The papers of a sheet, for those who may see what was written on them."""

from django.db.models import QuerySet

from inventory.people.models import Person

from ..models import Scan, Sheet


def scans_of(sheet: Sheet, *, person: Person, compares: bool) -> QuerySet[Scan]:
    """All scans for those who see the counts anyway; else only what the person brought, for a second counter
    must not read the first count off the paper."""
    scans = Scan.objects.filter(sheet=sheet).select_related("document", "added_by")
    return scans if compares else scans.filter(added_by=person)
