"""Causes that lie in the tank: losses, gains, and animals that are somewhere else."""

from collections.abc import Iterator
from datetime import timedelta

from inventory.book.rules.hunters import HUNTERS

from .causes import Cause
from .facts import HouseFacts, Line
from .possible import Hints, Possible, found, possible, usual_size


def living(line: Line, house: HouseFacts) -> list[Possible]:
    """Causes of one line by itself. What nothing explains is one of them, and always possible."""
    if line.written_in:
        return list(_written_in(line, house))
    return found(
        _losses(line, house), _gains(line, house), _elsewhere(line, house), _unexplained(line, house)
    )


def _losses(line: Line, house: HouseFacts) -> Iterator[Possible]:
    short = -line.difference
    if short <= 0 or line.at_least:
        return
    if line.not_seen and not line.off_site:
        names = ", ".join(one.name for one in line.not_seen)
        seen = [one.last_seen for one in line.not_seen if one.last_seen]
        yield possible(
            Cause.NOT_SEEN,
            house,
            f"{names}: search, and look in the notes of the veterinarian",
            f"last entered {max(seen)}" if seen else "",
            loses=line,
            most=len(line.not_seen),
            mean=1.5,
            hints=Hints(
                accessions=tuple(one.accession for one in line.not_seen), last_seen=max(seen, default=None)
            ),
        )
    elif line.count_class == "A" and not line.individuals and not line.off_site:
        yield _missing_of_a_group(line, short, house)
    hunters = [name for name in house.hunters.get(line.place, ()) if name != line.taxon]
    if hunters and line.family not in HUNTERS and not line.individuals:
        yield possible(
            Cause.EATEN,
            house,
            f"no body is entered, and {', '.join(hunters[:3])} hunt here",
            loses=line,
            most=short,
            mean=usual_size(line, 4),
            hints=Hints(reason="eaten (suspected)"),
        )


def _missing_of_a_group(line: Line, short: int, house: HouseFacts) -> Possible:
    """Class A is searched for before it is written off; a protected kind has its day of notice."""
    due = None
    words = [f"{short} not seen: class A is missing, and searched for, before it is written off"]
    if line.protected and line.moment:
        due = (line.moment + timedelta(days=house.notice_days)).date()
        words.append(f"{line.protected}: notice within {house.notice_days} days, by {due}")
    if line.permit_or_loan:
        words.append("on a permit or loan: whose they are goes to the agreement")
    return possible(
        Cause.NOT_SEEN, house, *words, loses=line, most=short, mean=max(2, short), hints=Hints(due=due)
    )


def _gains(line: Line, house: HouseFacts) -> Iterator[Possible]:
    over = line.difference
    if over <= 0:
        return
    before = {p.kind for p in line.passages if p.n > 0}
    since, until = house.span(
        max((p.happened_at for p in line.passages if p.n > 0), default=None), line.moment
    )
    if line.can_divide:
        yield possible(
            Cause.DIVIDED,
            house,
            "this kind multiplies by itself",
            gains=line,
            most=over,
            mean=max(12, abs(line.book) / 4),
            hints=Hints(since=since, until=until, reason="divided"),
        )
    if "born" in before and line.book >= 0:
        yield possible(
            Cause.BORN,
            house,
            "young were born here in this period, and more may have been",
            gains=line,
            most=over,
            mean=usual_size(line, 8),
            hints=Hints(since=since, until=until, reason="brood or young"),
        )
    if "settled" in before or (line.open_water and line.sources == "settled"):
        yield possible(
            Cause.SETTLED,
            house,
            "settled here before, out of raw sea water",
            gains=line,
            most=over,
            mean=usual_size(line, 8),
            hints=Hints(since=since, until=until, reason="settled from sea water"),
        )


def _elsewhere(line: Line, house: HouseFacts) -> Iterator[Possible]:
    """In a place that nobody has counted yet: at the veterinarian, or gone a way that is often gone."""
    if line.difference < 0 and line.individuals:
        yield from _at_the_veterinarian(line, house)
        return
    for other in house.uncounted:
        there = (line.place, other.place) if line.difference < 0 else (other.place, line.place)
        used = house.routes.get(there, 0)
        if not used or (line.difference > 0 and other.held.get(line.taxon, 0) <= 0) or line.individuals:
            continue
        yield possible(
            Cause.ELSEWHERE,
            house,
            f"{other.place} is not counted yet: wait for it",
            f"moved from {there[0]} to {there[1]} before",
            on=line,
            most=abs(line.difference),
            share=used / (used + 3),
            mean=usual_size(line, 3),
            name=other.place,
            hints=Hints(
                place=other.place if line.difference < 0 else "", until=line.moment, reason="late move"
            ),
        )


def _at_the_veterinarian(line: Line, house: HouseFacts) -> Iterator[Possible]:
    noted = [one for one in line.not_seen if one.note and one.note_place]
    for one in noted:
        yield possible(
            Cause.ELSEWHERE,
            house,
            f"{one.name}: note of {one.note_day} ({one.note}) puts it in {one.note_place}",
            f"issue the sheet of {one.note_place}" if _is_uncounted(one.note_place, house) else "",
            loses=line,
            most=1,
            share=48.0,  # a signed note of where it is leaves little doubt
            mean=1.5,
            name=one.accession,
            hints=Hints(
                accessions=(one.accession,), place=one.note_place, last_seen=one.note_day, reason="late move"
            ),
        )
    hospitals = [other.place for other in house.uncounted if other.hospital]
    unnoted = [one for one in line.not_seen if one not in noted]
    if hospitals and unnoted:
        yield possible(
            Cause.ELSEWHERE,
            house,
            f"{hospitals[0]} is not counted yet: issue its sheet, and look for "
            f"{', '.join(one.name for one in unnoted)}",
            loses=line,
            most=len(unnoted),
            share=2.0,
            mean=1.5,
            name=hospitals[0],
            hints=Hints(
                accessions=tuple(one.accession for one in unnoted), place=hospitals[0], reason="late move"
            ),
        )


def _is_uncounted(place: str, house: HouseFacts) -> bool:
    return any(other.place == place for other in house.uncounted)


def _unexplained(line: Line, house: HouseFacts) -> Iterator[Possible]:
    """Both ways, for what is left beside another cause may run against the difference."""
    if line.drift:
        yield possible(
            Cause.DRIFT,
            house,
            line.drift,
            on=line,
            most=abs(line.difference),
            mean=max(20, abs(line.difference)),
            hints=Hints(reason="unexplained loss" if line.difference < 0 else "unexplained gain"),
        )
    most = max(abs(line.difference), 1)
    shares = f"a pool of several sources: {line.sources}" if " + " in line.sources else ""
    ways_out = "; ".join(house.ways_out.get(line.place, ()))
    by_a_way_out = f"animals can leave this place unseen: {ways_out}" if ways_out else ""
    for cause, way, reason in (
        (Cause.LOSS, "loses", "unexplained loss"),
        (Cause.GAIN, "gains", "unexplained gain"),
    ):
        yield possible(
            Cause(cause),
            house,
            "nothing found in the book or on other lines",
            by_a_way_out if way == "loses" else "",
            shares if way == "loses" else "",
            gains=line if way == "gains" else None,
            loses=line if way == "loses" else None,
            most=most,
            mean=usual_size(line, 2),
            hints=Hints(reason=reason),
        )


def _written_in(line: Line, house: HouseFacts) -> Iterator[Possible]:
    """What was written in changes no book by itself; a registrar says what it is."""
    over = max(line.difference, 1)
    if "young" in (line.unit, *line.taxon.lower().split()):
        due = (line.moment + timedelta(days=house.young_days)).date() if line.moment else None
        yield possible(
            Cause.BORN,
            house,
            f"{line.count} young noted apart: they count from day {house.young_days}"
            + (f", {due}" if due else ""),
            gains=line,
            most=over,
            share=7.0,
            mean=max(8, over),
            hints=Hints(due=due, reason="brood or young"),
        )
    if line.introduced:
        yield possible(
            Cause.INTRODUCED,
            house,
            f"{line.introduced}: tell the permit officer; no stock until it is decided",
            gains=line,
            most=over,
            mean=max(3, over),
        )
    if line.may_be:
        yield possible(
            Cause.OTHER_NAME,
            house,
            f"may be {' or '.join(line.may_be)}, held here: ask who wrote it, and count again",
            gains=line,
            most=over,
            mean=max(3, over),
            recount=True,
        )
    if line.open_water:
        yield possible(
            Cause.SETTLED,
            house,
            "raw sea water runs through here: larvae come with it",
            gains=line,
            most=over,
            mean=max(8, over),
            hints=Hints(reason="settled from sea water"),
        )
    yield possible(
        Cause.CAME_WITH,
        house,
        "came with rock, kelp or animals, or was moved without a record: name it, then decide",
        gains=line,
        most=over,
        mean=max(2, over),
        hints=Hints(reason="came with rock, kelp or animals"),
    )
    yield possible(Cause.GAIN, house, "nobody knows what it is", gains=line, most=over, mean=max(2, over))
