"""Permits as they stand on a day: the version in force, its lines and what they cover.

In bulk: the number of queries does not grow with permits or lines.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from inventory.doors.once import once
from inventory.names.models import Taxon

from ..models import LineLink, LinkMember, Permit, PermitLine, PermitPerson, PermitVersion, VersionKind
from ..rules.accounts import Limit
from ..rules.checks import LineTerms, Terms
from ..rules.scopes import Animal, Covers, Member


@dataclass(slots=True)
class PermitRead:
    """One permit on one day. ``links`` are by line number; ``since`` is the first day of the run."""

    permit: Permit
    versions: list[PermitVersion]
    version: PermitVersion
    people: list[str]
    lines: list[PermitLine]
    links: dict[int, LineLink]
    members: dict[int, list[LinkMember]]
    since: date

    @property
    def terms(self) -> Terms:
        """What the version says to a trip."""
        version = self.version
        return Terms(
            number=self.permit.number,
            valid_from=self.first_valid_from,
            valid_until=version.valid_until,
            people=frozenset(self.people),
            area=[(x, y) for x, y in version.area],
            area_words=version.area_words,
            gear=version.gear,
            seasons=[(start, end) for start, end in version.seasons],
            waters=version.waters,
        )

    @property
    def first_valid_from(self) -> date:
        """Since when animals may be taken: through renewals without a gap."""
        return min(v.valid_from for v in self.versions if v.number <= self.version.number)

    @property
    def covers(self) -> list[Covers]:
        """What each line covers, in order."""
        return [
            Covers(
                line.number,
                self.links[line.number].scope,
                [Member(m.name, m.rank, m.taxon_id) for m in self.members[line.number]],
            )
            for line in self.lines
            if line.number in self.links
        ]

    def line(self, number: int | None) -> PermitLine | None:
        """The line with this number, if the version has it."""
        return next((line for line in self.lines if line.number == number), None)

    def limit(self, line: PermitLine) -> Limit:
        """The line as it counts."""
        own = line.let_go_alive_counts
        return Limit(
            number=line.number,
            limit=line.limit,
            per=line.per,
            unit=line.unit,
            counts_let_go=self.version.let_go_alive_counts if own is None else own,
            since=self.since,
        )


def line_terms(line: PermitLine) -> LineTerms:
    """What a line allows, besides its number."""
    return LineTerms(
        words=line.words,
        unit=line.unit,
        sex=line.sex,
        condition=line.condition,
        smallest_mm=line.smallest_mm,
        largest_mm=line.largest_mm,
    )


def animal_of(taxon: Taxon) -> Animal:
    """A taxon as lines look at it."""
    higher = (
        ("genus", taxon.genus),
        ("family", taxon.family),
        ("order", taxon.order),
        ("class", taxon.class_name),
        ("phylum", taxon.phylum),
        ("kingdom", taxon.kingdom),
    )
    return Animal(taxon.pk, taxon.scientific_name, tuple(pair for pair in higher if pair[1]))


def read_permits(permits: Sequence[Permit], *, on: date) -> dict[int, PermitRead]:
    """Each permit as it stands on the day, by its id, whenever that was entered here. Five queries.

    Before the first version begins, that one stands.
    """
    ids = [permit.pk for permit in permits]
    versions: defaultdict[int, list[PermitVersion]] = defaultdict(list)
    for version in PermitVersion.objects.filter(permit__in=ids).order_by("number"):
        versions[version.permit_id].append(version)
    chosen = {pk: _in_force(rows, on) for pk, rows in versions.items()}
    wanted = [version.pk for version in chosen.values()]
    people: defaultdict[int, list[str]] = defaultdict(list)
    for version_id, name in PermitPerson.objects.filter(version__in=wanted).values_list(
        "version_id", "person__name"
    ):
        people[version_id].append(name)
    lines: defaultdict[int, list[PermitLine]] = defaultdict(list)
    for line in PermitLine.objects.filter(version__in=wanted).order_by("position"):
        lines[line.version_id].append(line)
    links = newest_links(LineLink.objects.filter(permit__in=ids).order_by("id"))
    members: defaultdict[int, list[LinkMember]] = defaultdict(list)
    for member in LinkMember.objects.select_related("taxon").filter(link__in=[x.pk for x in links.values()]):
        members[member.link_id].append(member)
    return {
        permit.pk: PermitRead(
            permit=permit,
            versions=versions[permit.pk],
            version=chosen[permit.pk],
            people=people[chosen[permit.pk].pk],
            lines=lines[chosen[permit.pk].pk],
            links={number: link for (pk, number), link in links.items() if pk == permit.pk},
            members={number: members[link.pk] for (pk, number), link in links.items() if pk == permit.pk},
            since=_run_begins(versions[permit.pk], chosen[permit.pk]),
        )
        for permit in permits
        if permit.pk in chosen
    }


@once
def every_permit(*, on: date) -> dict[int, PermitRead]:
    """All permits as they stand on the day. Six queries."""
    return read_permits(list(Permit.objects.select_related("authority")), on=on)


def read_permit(permit: Permit, *, on: date) -> PermitRead:
    """One permit as it stands on the day. Five queries."""
    return read_permits([permit], on=on)[permit.pk]


def newest_links(links: Iterable[LineLink]) -> dict[tuple[int, int], LineLink]:
    """The newest link of each line, out of links in their order."""
    return {(link.permit_id, link.line_number): link for link in links}


def _in_force(versions: Sequence[PermitVersion], on: date) -> PermitVersion:
    """A renewal that is issued early holds from its first valid day, and so do amendments of it."""
    found, begins = versions[0], date.min
    for version in versions:
        own = version.valid_from if version.kind == VersionKind.RENEWAL else version.amended_on
        begins = max(begins, own)
        if begins <= on:
            found = version
    return found


def _run_begins(versions: Sequence[PermitVersion], version: PermitVersion) -> date:
    """Limits are counted from the last renewal's first day; amendments go on."""
    starts = [v for v in versions if v.number <= version.number and v.kind != VersionKind.AMENDMENT]
    return starts[-1].valid_from if len(starts) > 1 else date.min
