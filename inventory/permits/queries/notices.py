"""Deaths and absences that a permit wants told: what is due, and what was told.

They follow from the ledger: an event that is taken back takes its notice with it. A line that limits what
is held speaks of every animal of its kind here; other lines speak of lots into which something was taken
under the permit, and of all that share animals with them.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, tzinfo

from django.db.models import Q

from inventory.book.models import Event, Flow, Lot, Place
from inventory.book.queries.quantities import lots_that_share
from inventory.book.queries.settings import numbers_in_use
from inventory.book.rules.happened import parse_happened
from inventory.book.rules.kinds import EventKind
from inventory.names.models import NameList, Taxon
from inventory.names.queries.lists import listings_of
from inventory.names.rules.lists import ListKind

from ..absences import Absence, open_absences
from ..models import NoticeSending, Per, Permit, PermitLine, PermitVersion
from ..rules.notices import ABSENCES, DEATHS, KIND_WORDS, Asks, asks, due_on
from ..rules.reminders import when
from ..rules.scopes import line_for
from .reading import PermitRead, animal_of, every_permit, read_permits

DEFAULT_DAYS = "protected_death_notice_days"


@dataclass(slots=True)
class Notice:
    """Animals of one lot, by one event or one open absence, as a permit wants them told.

    ``left``: how many of ``n`` were not told yet. ``hidden``: the reader counts such animals now.
    ``places`` are where they stood.
    """

    permit: Permit
    line: PermitLine
    lot: Lot
    kind: EventKind
    n: int
    found_on: date
    due_on: date
    on: date
    event: Event | None = None
    page: str = ""
    places: frozenset[int] = frozenset()
    told: list[NoticeSending] = field(default_factory=list)
    hidden: bool = False

    @property
    def key(self) -> str:
        """What it is called in an address."""
        return f"{self.permit.pk}-{self.lot.pk}-{self.event.pk if self.event else self.found_on}"

    @property
    def left(self) -> int:
        """How many are still to be told."""
        return max(0, self.n - sum(one.n for one in self.told))

    @property
    def days(self) -> int:
        """Days left; negative: late."""
        return (self.due_on - self.on).days

    @property
    def when(self) -> str:
        """Due so many days from today."""
        return when(self.days)

    @property
    def late(self) -> bool:
        """True when the last day has gone and something is left to tell."""
        return bool(self.left) and self.days < 0

    @property
    def kind_words(self) -> str:
        """What happened."""
        return KIND_WORDS[self.kind]

    @property
    def told_late(self) -> bool:
        """True when it was told after its last day."""
        return any(one.sent_on > self.due_on for one in self.told)


def notices(
    *, on: date, zone: tzinfo, hidden: Collection[int] = (), permits: Sequence[Permit] | None = None
) -> list[Notice]:
    """Every notice of every permit (or of ``permits``) as the book stands, by day. A constant number of
    queries."""
    read = every_permit(on=on) if permits is None else read_permits(permits, on=on)
    reads = list(read.values())
    scopes = _scopes(reads)
    if not scopes:
        return []
    taxa = {taxon for scope in scopes for taxon in scope.lines}
    found = [*_booked(scopes, taxa, on), *_absent(scopes, taxa, on, zone)]
    _add_told(found)
    for notice in found:
        notice.hidden = not notice.places.isdisjoint(hidden)
    return sorted(found, key=lambda one: (not one.left, one.due_on, one.lot.accession))


@dataclass(slots=True)
class _Scope:
    """One permit: which line covers which taxon, which taxa are protected, and which lots came under it."""

    read: PermitRead
    lines: dict[int, PermitLine]
    protected: frozenset[int]
    default_days: int
    lots: set[int] = field(default_factory=set)

    def asks(self, day: date, taxon: int) -> Asks | None:
        """What the version of that day wants told of the taxon."""
        version = _in_force(self.read.versions, day)
        if version is None:
            return None
        return asks(
            days=version.notice_days,
            absences=version.missing_is_notice,
            protected=taxon in self.protected,
            default_days=self.default_days,
        )

    def covers(self, lot: int, taxon: int) -> PermitLine | None:
        """The line under which animals of the lot stand, or none."""
        line = self.lines.get(taxon)
        return line if line is not None and (line.per == Per.HELD or lot in self.lots) else None


def _in_force(versions: Sequence[PermitVersion], day: date) -> PermitVersion | None:
    """The version of the day; none before the permit began."""
    if day < min(version.valid_from for version in versions):
        return None
    begun = [version for version in versions if version.amended_on <= day]
    return begun[-1] if begun else versions[0]


def _scopes(reads: Sequence[PermitRead]) -> list[_Scope]:
    """The permits that want anything told."""
    if not reads:
        return []
    taxa = {taxon.pk: taxon for taxon in Taxon.objects.filter(joined_into=None)}
    default = numbers_in_use()[DEFAULT_DAYS]
    scopes = []
    for read in reads:
        lines = {line.number: line for line in read.lines}
        covers = read.covers
        covered = {pk: line_for(animal_of(taxon), covers) for pk, taxon in taxa.items()} if covers else {}
        by_taxon = {pk: lines[number] for pk, number in covered.items() if number is not None}
        scopes.append(_Scope(read, by_taxon, frozenset(), default))
    protected = _protected([taxa[pk] for pk in {pk for scope in scopes for pk in scope.lines}])
    asking = []
    for scope in scopes:
        scope.protected = protected & scope.lines.keys()
        stated = any(v.notice_days is not None or v.missing_is_notice for v in scope.read.versions)
        if scope.lines and (stated or scope.protected):
            asking.append(scope)
    _add_lots(asking)
    return asking


def _protected(taxa: Sequence[Taxon]) -> frozenset[int]:
    """Those that a list of protected animals in use names."""
    if not taxa or not NameList.objects.filter(kind=ListKind.PROTECTED, is_current=True).exists():
        return frozenset()
    return frozenset(
        number
        for number, listings in listings_of(taxa).items()
        if any(one.entry.of_list.kind == ListKind.PROTECTED for one in listings)
    )


def _add_lots(scopes: Sequence[_Scope]) -> None:
    """Lots into which something was taken under each permit, and all that share animals with them."""
    by_number: defaultdict[str, set[int]] = defaultdict(set)
    numbers = [scope.read.permit.number for scope in scopes]
    taken = Event.objects.filter(kind=EventKind.TAKEN, permit_number__in=numbers, reversed_by=None).order_by()
    for number, lot in taken.values_list("permit_number", "flows__to_cell__lot"):
        if lot is not None:
            by_number[number].add(lot)
    # Which lots share animals does not depend on the day: to look at one too many loses nothing.
    shared = lots_that_share({lot for found in by_number.values() for lot in found}) if by_number else {}
    for scope in scopes:
        scope.lots = {lot for own in by_number[scope.read.permit.number] for lot in shared[own]}


def _booked(scopes: Sequence[_Scope], taxa: Collection[int], on: date) -> Iterable[Notice]:
    """Deaths and absences in the book that were not taken back. One query."""
    flows = (
        Flow.objects.filter(
            _covered(scopes, taxa),
            event__kind__in=[*DEATHS, *ABSENCES],
            event__reversed_by=None,
            reversal=False,
            from_cell__inside=True,
        )
        .select_related("event__entered_by", "from_cell__lot__taxon", "from_cell__account")
        .order_by("event_id", "id")
    )
    sums: defaultdict[tuple[int, int], list[Flow]] = defaultdict(list)
    for flow in flows:
        sums[flow.event_id, flow.from_cell.lot_id].append(flow)
    for together in sums.values():
        event, lot = together[0].event, together[0].from_cell.lot
        kind, found_on = EventKind(event.kind), parse_happened(event.happened).day
        places = frozenset(flow.from_cell.account.place_id or 0 for flow in together)
        for scope in scopes:
            line, wanted = scope.covers(lot.pk, lot.taxon_id), scope.asks(found_on, lot.taxon_id)
            if line and wanted and wanted.wants(kind):
                yield Notice(
                    permit=scope.read.permit,
                    line=line,
                    lot=lot,
                    kind=kind,
                    n=sum(flow.n for flow in together),
                    found_on=found_on,
                    due_on=due_on(found_on, wanted.days),
                    on=on,
                    event=event,
                    places=places,
                )


# So many lots are asked for by number; of more, all of their taxa are read and the others left aside.
_MOST_LOTS = 2_000


def _covered(scopes: Sequence[_Scope], taxa: Collection[int]) -> Q:
    """The lots that a line can speak of: of every animal of its kind where it limits what is held, else
    those that came under the permit."""
    lots = {lot for scope in scopes for lot in scope.lots}
    if len(lots) > _MOST_LOTS:
        return Q(from_cell__lot__taxon__in=taxa)
    held = {taxon for scope in scopes for taxon, line in scope.lines.items() if line.per == Per.HELD}
    return Q(from_cell__lot__in=lots) | Q(from_cell__lot__taxon__in=held)


def _absent(scopes: Sequence[_Scope], taxa: Collection[int], on: date, zone: tzinfo) -> Iterable[Notice]:
    """Absences that were found and are not in the book yet."""
    found = open_absences(taxa)
    lots = Lot.objects.select_related("taxon").in_bulk({absence.lots[0] for absence in found})
    for absence in found:
        for scope in scopes:
            notice = _absence(scope, absence, lots, on, zone)
            if notice is not None:
                yield notice


def _absence(
    scope: _Scope, absence: Absence, lots: Mapping[int, Lot], on: date, zone: tzinfo
) -> Notice | None:
    lot = lots[absence.lots[0]]
    found_on = absence.found_at.astimezone(zone).date()
    line, wanted = scope.covers(lot.pk, lot.taxon_id), scope.asks(found_on, lot.taxon_id)
    if not (line and wanted and wanted.wants(EventKind.MISSING)):
        return None
    return Notice(
        permit=scope.read.permit,
        line=line,
        lot=lot,
        kind=EventKind.MISSING,
        n=absence.n,
        found_on=found_on,
        due_on=due_on(found_on, wanted.days),
        on=on,
        page=absence.page,
        places=frozenset({absence.place}),
    )


def _add_told(found: Sequence[Notice]) -> None:
    """What was told of each. What was told of an absence before it was booked belongs to its event."""
    by_event: defaultdict[tuple[int, int, int], list[NoticeSending]] = defaultdict(list)
    before: defaultdict[tuple[int, int, date], list[NoticeSending]] = defaultdict(list)
    sendings = NoticeSending.objects.select_related("entered_by", "document").order_by("id")
    for one in sendings.filter(permit__in={notice.permit.pk for notice in found}):
        if one.event_id is not None:
            by_event[one.permit_id, one.lot_id, one.event_id].append(one)
        else:
            before[one.permit_id, one.lot_id, one.found_on].append(one)
    for notice in found:
        permit, lot = notice.permit.pk, notice.lot.pk
        if notice.event is not None:
            notice.told = by_event[permit, lot, notice.event.pk]
        if notice.kind == EventKind.MISSING:
            notice.told = [*notice.told, *before[permit, lot, notice.found_on]]


def place_codes(notice: Notice) -> str:
    """Where the animals stood, for who may read it."""
    return ", ".join(Place.objects.filter(pk__in=notice.places).values_list("code", flat=True))
