"""What people of one role have to hear of: notices, restatements, late entries, a census that is late."""

from collections.abc import Collection, Sequence
from datetime import datetime

from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from inventory.people.attention import Attention, Line
from inventory.people.rules.roles import Role

from .models import Notice, Restatement
from .queries import came_back
from .queries.late import LatePeriod, late_periods
from .queries.running import running_censuses
from .queries.searching import answered
from .queries.settings import settings_in_use
from .queries.waiting import still_waiting
from .rules.calendar import working_days_after
from .rules.who import DECIDES, SIGNS
from .rules.words import How

SHOWN = 10


def told(roles: Collection[Role], *, now: datetime) -> list[Attention]:
    """A constant number of queries, and none for those who have none of these roles."""
    found = _notices(roles, now) + _approvals(roles)
    if not set(roles).isdisjoint(DECIDES):
        found += _came_back()
    if not set(roles).isdisjoint(SIGNS):
        found += _restatements() + _chased(now)
    if not set(roles).isdisjoint((*DECIDES, Role.PERMIT_OFFICER)):
        found += _late(roles)
    return found


def _notices(roles: Collection[Role], now: datetime) -> list[Attention]:
    """What nobody has seen yet; an animal that is searched no more is asked about no more."""
    names = [role.value for role in roles]
    unseen = list(Notice.objects.filter(role__in=names, seen_at=None)) if names else []
    over = answered(unseen, now=now, zone=timezone.get_current_timezone())
    notices = [notice for notice in unseen if notice.pk not in over]
    if not notices:
        return []
    return [
        Attention(
            heading="To be seen by you",
            total=len(notices),
            url=reverse("notices"),
            roles=frozenset(Role(notice.role) for notice in notices),
            lines=tuple(Line(notice.words, reverse("notices")) for notice in notices[:SHOWN]),
        )
    ]


def _came_back() -> list[Attention]:
    """Counts of devices that the census could not take; no number stands here."""
    entries = list(came_back.waiting())
    if not entries:
        return []
    return [
        Attention(
            heading="Counts that came back from devices",
            total=len(entries),
            url=reverse("counts_came_back"),
            roles=frozenset(DECIDES),
            lines=tuple(
                Line(
                    f"{one.sheet}, {one.sheet.place}" if one.sheet else "no sheet named",
                    reverse("counts_came_back"),
                    one.person.name if one.person else "",
                    places=frozenset({one.sheet.place_id}) if one.sheet else frozenset(),
                )
                for one in entries
            ),
        )
    ]


def _approvals(roles: Collection[Role]) -> list[Attention]:
    """For those whose name is asked for; what others have to answer is theirs."""
    asks = {Role.CURATOR: Q(curator=True), Role.PERMIT_OFFICER: Q(permit_officer=True)}
    mine = [asks[role] for role in roles if role in asks]
    if not mine:
        return []
    wanted = mine[0] | mine[-1]
    asked = still_waiting().filter(wanted).exclude(answers__role__in=[role.value for role in roles])
    waiting = list(asked.select_related("line__sheet", "line__place", "line__taxon", "asked_by"))
    if not waiting:
        return []
    return [
        Attention(
            heading="Corrections that wait for your approval",
            total=len(waiting),
            url=reverse("approvals"),
            roles=frozenset({Role.CURATOR, Role.PERMIT_OFFICER}),
            lines=tuple(
                Line(
                    f"{one.line.place.code} {one.line.taxon or one.line.written_name}: {How(one.how).words}",
                    reverse("approvals"),
                    one.asked_by.name,
                    places=frozenset({one.line.place_id}),
                )
                for one in waiting
            ),
        )
    ]


def _restatements() -> list[Attention]:
    waiting = list(Restatement.objects.filter(approved_at=None).select_related("period", "asked_by"))
    if not waiting:
        return []
    return [
        Attention(
            heading="Closed periods to be restated, if you approve",
            total=len(waiting),
            url=reverse("periods"),
            roles=frozenset(SIGNS),
            lines=tuple(
                Line(f"{one.period}: {one.why}", reverse("period", args=[one.period.code]), one.asked_by.name)
                for one in waiting[:SHOWN]
            ),
        )
    ]


def _chased(now: datetime) -> list[Attention]:
    """A census still open so many working days after its period's end is shown each day."""
    zone = timezone.get_current_timezone()
    days = settings_in_use().close_chase_days
    late = [
        census
        for census in running_censuses()
        if working_days_after(census.period.ends_on, now.astimezone(zone).date()) >= days
    ]
    if not late:
        return []
    return [
        Attention(
            heading=f"Open {days} working days after the end of the period",
            total=len(late),
            url=reverse("census_list"),
            roles=frozenset(SIGNS),
            lines=tuple(
                Line(f"{one.code} is {one.state}", reverse("census", args=[one.code])) for one in late[:SHOWN]
            ),
        )
    ]


def _late(roles: Collection[Role]) -> list[Attention]:
    """For the registrar what asks to restate; for the permit officer the sent returns that are touched."""
    zone = timezone.get_current_timezone()
    found = late_periods(settings=settings_in_use(), zone=zone)
    asks = [late for late in found if late.asks_to_restate and late.restatement is None]
    told = []
    if asks and not set(roles).isdisjoint(DECIDES):
        told.append(_late_ones("Late entries at or above the limit: restate?", asks, frozenset(DECIDES)))
    touched = [late for late in found if late.touched]
    if touched and Role.PERMIT_OFFICER in roles:
        heading = "Returns already sent that late entries touch"
        told.append(_late_ones(heading, touched, frozenset({Role.PERMIT_OFFICER})))
    return told


def _late_ones(heading: str, found: Sequence[LatePeriod], roles: frozenset[Role]) -> Attention:
    return Attention(
        heading=heading,
        total=len(found),
        url=reverse("periods"),
        roles=roles,
        lines=tuple(
            Line(f"{late.period}: {late.why}", reverse("period", args=[late.period.code]))
            for late in found[:SHOWN]
        ),
    )
