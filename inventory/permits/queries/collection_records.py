"""Reads the takes of a permit as collection records, with what became of the animals."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from inventory.names.models import BackboneRelease, ReleaseAdoption, Taxon
from inventory.names.queries.as_of import taxa_as_of
from inventory.names.queries.lists import backbone_names, classification_of, listings_of
from inventory.names.queries.store import current_release
from inventory.names.rules.lists import ListKind, meant, plain_name
from inventory.people.models import House

from ..models import Permit, PermitVersion, Take, Trip
from ..rules.collection_records import Name, PermitFacts, Position, Record, coarsened, plain
from ..rules.whereabouts import Whereabouts
from .field_names import open_names
from .reading import PermitRead, read_permit
from .takes import TakeRead, current_takes, doubtful_trips
from .whereabouts import whereabouts_of_takes


@dataclass(frozen=True, slots=True)
class CollectionRecords:
    """All takes of a permit up to a day, and what is written over them."""

    permit: Permit
    version: PermitVersion
    house: str
    as_of: date
    records: Sequence[Record]
    coarse: bool
    # Of each record its take, in the same order.
    takes: Sequence[TakeRead] = ()

    @property
    def title(self) -> str:
        """As it stands over the records."""
        return f"Collection records of {self.permit.number}, {self.permit.authority.name}"

    @property
    def generalised(self) -> list[str]:
        """What was made less exact, and what is left out, each said once."""
        said = (words for r in self.records for words in (r.position.generalised, r.position.withheld))
        return list(dict.fromkeys(words for words in said if words))

    @property
    def tells_of_hidden(self) -> bool:
        """Some animals are where the reader may not see numbers."""
        return any(of_unit.hidden for record in self.records for of_unit in record.now)

    @property
    def open_ends(self) -> list[str]:
        """What the authority will ask about, as sentences."""
        questions = (
            ("have no coordinates", [r for r in self.records if r.position.latitude is None]),
            ("have coordinates that are in doubt", [r for r in self.records if r.position.doubtful]),
            (
                "have no place in words",
                [r for r in self.records if not self.coarse and not r.position.locality],
            ),
            ("have a name that is still open", [r for r in self.records if not r.name.scientific_name]),
            ("stand on no line of the permit", [r for r in self.records if r.permit.line is None]),
            ("were made on a day on which it was not valid", [r for r in self.records if not r.permit.valid]),
        )
        return [f"{len(found)} of {len(self.records)} takes {words}" for words, found in questions if found]


def collection_records(
    permit: Permit,
    *,
    as_of: date,
    zone: tzinfo,
    coarse: bool,
    known_at: datetime | None = None,
    hidden: Collection[int] = (),
) -> CollectionRecords:
    """The records at the end of ``as_of``, in order of day. A constant number of queries.

    ``coarse`` rounds positions and leaves out places in words. ``hidden`` are places whose numbers the
    reader may not see. As known at an earlier moment animals bear the names that they had then.
    """
    read = read_permit(permit, on=as_of)
    takes = [
        take for take in current_takes(permits=[permit], known_at=known_at) if take.trip.ends_on <= as_of
    ]
    now = whereabouts_of_takes(permit, as_of=as_of, zone=zone, known_at=known_at, hidden=hidden)
    release = _release(known_at)
    names = _names([take.take.taxon for take in takes if take.take.taxon], known_at)
    reader = _Reader(
        read=read,
        names=names,
        release=_release_words(release),
        firsts=_firsts(takes),
        doubtful=doubtful_trips(permit, known_at=known_at),
    )
    records = [reader.record(take, now.get(take.take.pk, [])) for take in takes]
    house = getattr(House.objects.first(), "name", "")
    if coarse:
        records = [coarsened(record, house=house) for record in records]
    return CollectionRecords(permit, read.version, house, as_of, records, coarse, takes)


@dataclass(frozen=True, slots=True)
class _Reader:
    read: PermitRead
    names: Mapping[int, Name]
    release: str
    firsts: tuple[Mapping[int, str], Mapping[int, str]]
    doubtful: Collection[int]

    def record(self, found: TakeRead, now: Sequence[Whereabouts]) -> Record:
        """One take as it is told."""
        take, trip = found.take, found.trip
        takes, trips = self.firsts
        lot = take.lot
        return Record(
            take=f"urn:uuid:{takes[take.pk]}",
            trip=f"urn:uuid:{trips[found.trip_root]}",
            happened=trip.happened,
            position=self._position(trip, doubtful=found.trip_root in self.doubtful),
            depth_from_m=plain(trip.depth_from_m),
            depth_to_m=plain(trip.depth_to_m),
            gear=trip.gear,
            people=found.people,
            permit=self._permit(found),
            verbatim=take.verbatim_identification,
            qualifier=take.identification_qualifier,
            name=self.names[take.taxon_id] if take.taxon_id else Name(),
            release=self.release,
            caught=take.caught,
            let_go=take.let_go,
            died=take.died,
            kept=take.kept,
            unit=take.unit,
            into_stock=take.into_stock,
            stock_unit=lot.unit if lot else now[0].unit if now else take.unit,
            sex=take.sex,
            stage=take.stage,
            size_mm=take.size_mm,
            berried=take.berried,
            bycatch=take.bycatch,
            lot=lot.accession if lot else "",
            remarks=take.remarks,
            amended=(take.why or "yes") if take.replaces_id else trip.why if trip.replaces_id else "",
            entered_at=max(take.entered_at, trip.entered_at),
            now=now,
        )

    def _position(self, trip: Trip, *, doubtful: bool) -> Position:
        return Position(
            locality=trip.locality,
            latitude=plain(trip.latitude),
            longitude=plain(trip.longitude),
            datum=trip.datum if trip.latitude is not None else "",
            uncertainty_m=trip.uncertainty_m,
            doubtful=doubtful,
        )

    def _permit(self, found: TakeRead) -> PermitFacts:
        permit, version = self.read.permit, self.read.version
        line = self.read.line(found.take.line_number)
        since = self.read.first_valid_from
        return PermitFacts(
            number=permit.number,
            authority=permit.authority.name,
            kind=permit.kind,
            line=found.take.line_number,
            words=line.words if line else "",
            valid_from=since,
            valid_until=version.valid_until,
            valid=since <= found.trip.starts_on and found.trip.ends_on <= version.valid_until,
        )


def _firsts(takes: Sequence[TakeRead]) -> tuple[dict[int, str], dict[int, str]]:
    """Identifiers that stay through corrections: those of the first row of each take, and of each trip.

    A take that was moved here from another permit keeps its own. Three queries.
    """
    before = dict(Take.objects.exclude(replaces=None).values_list("id", "replaces_id"))
    root_of = {}
    for take in takes:
        root = take.take.pk
        while (older := before.get(root)) is not None:
            root = older
        root_of[take.take.pk] = root
    named = dict(Take.objects.filter(pk__in=root_of.values()).values_list("id", "identifier"))
    trips = Trip.objects.filter(pk__in={take.trip_root for take in takes}).values_list("id", "identifier")
    first_takes = {pk: str(named[root]) for pk, root in root_of.items()}
    return first_takes, {pk: str(identifier) for pk, identifier in trips}


def _release_words(release: BackboneRelease | None) -> str:
    return "" if release is None else f"{release.name} {release.version}".strip()


def _release(known_at: datetime | None) -> BackboneRelease | None:
    """The release that was in use. Before the first was taken up by a person, the one it replaced."""
    if known_at is not None:
        after = ReleaseAdoption.objects.select_related("from_release").filter(at__gt=known_at)
        following = after.order_by("at", "id").first()
        if following is not None:
            return following.from_release
    return current_release()


def _names(taxa: Sequence[Taxon], known_at: datetime | None = None) -> dict[int, Name]:
    """What each taxon is called, and by which identifier the backbone knows it."""
    by_id = {taxon.pk: taxon for taxon in taxa}
    if known_at is not None:
        then = taxa_as_of(known_at)
        by_id = {pk: then[pk] for pk in by_id}
    store = backbone_names() if by_id else None
    named = store.named({plain_name(t.scientific_name) for t in by_id.values()}) if store else {}
    introduced = {
        pk
        for pk, listings in listings_of(list(by_id.values())).items()
        if any(listing.entry.of_list.kind == ListKind.NON_NATIVE for listing in listings)
    }
    # Animals whose name waits for a person stand under what was typed, which is no accepted name.
    is_open = open_names(by_id)
    found = dict.fromkeys(is_open, Name())
    for pk, taxon in by_id.items():
        if pk in is_open:
            continue
        usage = meant(named.get(plain_name(taxon.scientific_name), []), classification_of(taxon))
        found[pk] = Name(
            scientific_name=taxon.scientific_name,
            authorship=taxon.authorship,
            rank=taxon.rank,
            taxon_id=usage.taxon_id if usage else "",
            kingdom=taxon.kingdom,
            phylum=taxon.phylum,
            class_name=taxon.class_name,
            order=taxon.order,
            family=taxon.family,
            genus=taxon.genus,
            introduced=pk in introduced,
        )
    return found
