"""What stands against a count: its numbers, its line, and who counted it."""

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime

from inventory.book.rules.days import day_in_words
from inventory.people.models import Person

from ..models import Line, Sheet
from ..queries.approvers import roles_held
from ..rules.tolerance import EXACT
from ..rules.who import VOLUNTEER_CLASSES, is_volunteer
from ..rules.words import SACFOR, LineKind
from .entries import Entry


def against_volunteers(
    written: Sequence[Entry], lines: Mapping[int, Line], sheet: Sheet, named: Mapping[int, Person]
) -> list[str]:
    """A trained volunteer counts classes B and C, with an aquarist on the sheet."""
    counters = {entry.counter.pk: entry.counter for entry in written if entry.counter}
    volunteers = {pk for pk, person in counters.items() if is_volunteer(roles_held(person))}
    if not volunteers:
        return []
    problems = [
        f"{entry.origin or f'line {entry.line}'}: {entry.counter.name} is a trained volunteer, who counts "
        f"classes B and C; an aquarist counts class {lines[entry.line].count_class}"
        for entry in written
        if entry.counter and entry.counter.pk in volunteers and entry.line in lines
        if lines[entry.line].count_class not in VOLUNTEER_CLASSES
    ]
    if all(is_volunteer(roles_held(person)) for person in (*named.values(), *counters.values())):
        problems.append(
            f"the sheet {sheet.number} names no aquarist; a trained volunteer counts with one: name both"
        )
    return problems


def problems_of(
    entry: Entry,
    lines: Mapping[int, Line],
    *,
    begins: datetime,
    now: datetime,
    round_: int,
    named: Collection[int],
) -> list[str]:
    """What is wrong with one entry, in sentences; ``begins``: when the period that is counted does."""
    problems = []
    if entry.line and entry.line not in lines:
        problems.append(f"the sheet has no line {entry.line}")
    if not entry.line and not entry.written_name.strip():
        problems.append("an animal that is written in needs a name")
    if entry.counter is None and not entry.party:
        problems.append("say who counted")
    if entry.counted_at > now:
        problems.append("the count moment lies in the future")
    if entry.counted_at < begins:
        problems.append(
            f"the count moment, {day_in_words(entry.counted_at.date())}, lies before the period that is "
            "counted; look at the day and the year"
        )
    problems += _number_problems(entry)
    if entry.line in lines:
        problems += _line_problems(entry, lines[entry.line], round_, named)
    return problems


def _number_problems(entry: Entry) -> list[str]:
    problems = []
    given = [n for n in (entry.value, entry.low, entry.high, *(entry.sexes or ())) if n is not None]
    if any(n < 0 for n in given):
        problems.append("a count is a whole number of 0 or more")
    if entry.passes is not None and entry.passes < 1:
        problems.append("a count has one pass or more")
    if entry.letter and entry.letter not in SACFOR:
        problems.append(f"{entry.letter!r} is not one of the letters {' '.join(SACFOR)}")
    if entry.sexes is not None and entry.value is not None and sum(entry.sexes) != entry.value:
        problems.append(f"the sexes add up to {sum(entry.sexes)}, not {entry.value}")
    low = entry.low if entry.low is not None else entry.number
    high = entry.high if entry.high is not None else entry.number
    if entry.number is not None and low is not None and high is not None and not low <= entry.number <= high:
        problems.append(f"the range {low} to {high} does not hold the count {entry.number}")
    return problems


def _line_problems(entry: Entry, line: Line, round_: int, named: Collection[int]) -> list[str]:
    problems = []
    if line.kind == LineKind.PRESENCE and entry.number is not None:
        problems.append("a line of class D takes a letter, not a number")
    if entry.letter and line.kind not in (LineKind.PRESENCE, LineKind.WRITE_IN):
        problems.append("a letter stands on lines of class D only; count, or leave it blank")
    strangers = sorted(set(entry.seen) - {lot.accession for lot in line.lots.all()})
    if strangers:
        problems.append(f"not on this line: {', '.join(strangers)}")
    asked = any(recount.round == round_ for recount in line.recounts.all())
    if round_ > 1 and not asked and not _second_counter(entry, line, round_, named):
        problems.append(f"no count {round_} was asked for; ask for a recount first")
    earlier = {count.counter_id for count in line.counts.all() if count.round < round_} - {None}
    if entry.counter is not None and entry.counter.pk in earlier:
        problems.append(f"{entry.counter.name} made an earlier count of this line; another person recounts")
    return problems


def _second_counter(entry: Entry, line: Line, round_: int, named: Collection[int]) -> bool:
    """Class A has two counters at the same moment, each of whom writes: the second needs no asking."""
    return (
        round_ == 2
        and line.count_class == EXACT
        and entry.counter is not None
        and entry.counter.pk in named
        and any(count.round == 1 for count in line.counts.all())
    )
