"""Notes that animals can leave a place unseen, and that the way is shut."""

from datetime import date, datetime

from django.db import transaction

from inventory.people.models import Person

from ..models import Place, WayOut


class WayOutRefused(Exception):
    """A note that cannot be taken; the message says why and what to do. Nothing was changed."""


@transaction.atomic
def note_way_out(*, place: Place, what: str, since: date, today: date, by: Person, now: datetime) -> WayOut:
    """Keeps that ``what`` is open in ``place`` since a day. Raises :class:`WayOutRefused`."""
    if since > today:
        raise WayOutRefused(f"{since} is still to come; give the day from which it is known to be open.")
    # The place's row is the gate: two who note the same at once go one after the other.
    Place.objects.select_for_update().get(pk=place.pk)
    open_already = WayOut.objects.filter(place=place, what__iexact=what, until=None).first()
    if open_already is not None:
        raise WayOutRefused(f"“{open_already.what}” is noted as open since {open_already.since} already.")
    return WayOut.objects.create(place=place, what=what, since=since, noted_by=by, noted_at=now)


@transaction.atomic
def shut_way_out(*, way_out: WayOut, until: date, today: date, by: Person, now: datetime) -> WayOut:
    """Keeps that it was open to ``until`` and is shut since. Raises :class:`WayOutRefused`."""
    found = WayOut.objects.select_for_update().get(pk=way_out.pk)
    if found.until is not None:
        raise WayOutRefused(f"“{found.what}” was shut after {found.until} already; nothing is left to do.")
    if not found.since <= until <= today:
        raise WayOutRefused(f"Give a day from {found.since}, when it was first seen, to today, {today}.")
    found.until, found.shut_by, found.shut_at = until, by, now
    found.save(update_fields=["until", "shut_by", "shut_at"])
    return found
