"""The numbers that a registrar can change: each with its name, its default and its bounds.

All are judgement (*common practice, no source*): they are shown to a working registrar, who
changes them on the page "Named numbers"; every change is kept with its day and its author.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Named:
    """``least`` and ``most`` are the values that make sense; ``unit`` is what the number counts."""

    default: int
    unit: str
    words: str
    least: int = 0
    most: int = 10_000


def _percent(default: int, words: str) -> Named:
    return Named(default, "per cent", words, most=100)


NAMED: Mapping[str, Named] = {
    "quiet_hours_before_count": Named(24, "hours", "quiet time of a tank before its count"),
    "count_window_days_before": Named(5, "days", "counting begins before the period's end"),
    "count_window_days_after": Named(5, "days", "counting ends after the period's end"),
    "joined_session_max_hours": Named(2, "hours", "longest session for joined tanks"),
    "pair_apart_minutes": Named(15, "minutes", "class A: the two counters count within"),
    "recount_within_hours": Named(72, "hours", "a recount is made within", least=1),
    "random_recount_percent": _percent(5, "lines that agree and are counted again"),
    "random_recount_min_lines": Named(3, "lines", "at least so many lines that agree are counted again"),
    "recount_rounds_max": Named(3, "counts", "counts of a line in one census", least=1, most=3),
    "tolerance_a": Named(0, "animals", "tolerance of class A"),
    "tolerance_b_small_limit": Named(20, "animals", "class B: no tolerance for a book up to"),
    "tolerance_b_percent": _percent(5, "class B: tolerance above that"),
    "tolerance_b_min": Named(1, "animals", "class B: tolerance above that is at least"),
    "tolerance_c_percent": _percent(10, "class C: tolerance"),
    "tolerance_c_min": Named(2, "animals", "class C: tolerance is at least"),
    "passes_min_class_c": Named(3, "passes", "class C: passes of one count", least=1),
    "presence_step_flag": Named(2, "letters", "class D: a change that is shown", least=1, most=5),
    "drift_run_length": Named(3, "censuses", "class C on the same side: a drift", least=2),
    "minimum_count_run_length": Named(
        4, "censuses", "after so many a drained or night count is due", least=1
    ),
    "individual_search_days": Named(14, "days", "search for an animal not seen", least=1),
    "individual_not_seen_censuses": Named(2, "censuses", "not seen: query to the curator", least=1),
    "individual_not_seen_days": Named(30, "days", "not seen: query to the curator", least=1),
    "write_off_earliest_days": Named(60, "days", "not seen: written off at the earliest"),
    "registrar_limit_animals": Named(5, "animals", "adjusted by the registrar alone"),
    "registrar_limit_percent": _percent(5, "adjusted by the registrar alone"),
    "registrar_limit_unexplained_animals": Named(2, "animals", "unexplained: by the registrar alone"),
    "registrar_limit_unexplained_percent": _percent(2, "unexplained: by the registrar alone"),
    "tank_loss_alarm_census_percent": _percent(10, "loss of a tank in one census: alarm"),
    "tank_loss_alarm_year_percent": _percent(20, "loss of a tank in four censuses: alarm"),
    "mass_death_in_day": Named(3, "deaths", "in 24 hours: alarm", least=1),
    "mass_death_lot_percent": _percent(5, "of a lot in a day: alarm"),
    "sample_sheets_percent": _percent(10, "sheets in the sample before signing"),
    "sample_sheets_min": Named(3, "sheets", "at least so many in the sample"),
    "sample_lines_per_sheet": Named(5, "lines", "of each sheet in the sample", least=1),
    "sample_list_to_floor": Named(10, "lines", "from the list to the floor"),
    "sample_floor_to_list": Named(10, "animals", "from the floor to the list"),
    "restatement_class_a": Named(1, "animals", "class A, entered late: ask to restate", least=1),
    "restatement_animals": Named(5, "animals", "entered late: ask to restate, and", least=1),
    "restatement_percent": _percent(5, "of the taxon's closing number: ask to restate"),
    "late_entry_warning_days": Named(3, "days", "entered later than this is late"),
    "double_entry_minutes": Named(10, "minutes", "a second such entry is a suspected double"),
    "double_entry_list_hours": Named(24, "hours", "entries so near are on the list of doubles"),
    "young_count_in_days": Named(30, "days", "young count in from, where the rule is by age"),
    "undo_minutes": Named(10, "minutes", "an entry can be undone by who made it"),
    "spot_count_days": Named(31, "days", "every class A line is counted on the spot within", least=1),
    "full_count_class_d_days": Named(366, "days", "class D is looked at within", least=1),
    "permit_reminder_days_first": Named(90, "days", "before a permit ends: first reminder"),
    "permit_reminder_days_second": Named(30, "days", "before a permit ends: second reminder"),
    "permit_reminder_days_last": Named(7, "days", "before a permit ends: last reminder"),
    "protected_death_notice_days": Named(
        7, "days", "death of a protected animal: notice, unless the permit says"
    ),
    "close_target_days": Named(15, "working days", "after the period's end the curator signs"),
    "close_chase_days": Named(20, "working days", "after the period's end the curator is reminded each day"),
}


def default_of(name: str) -> int:
    """The default of one number; raises :class:`KeyError` for what is none."""
    return NAMED[name].default


def check_number(name: str, value: int) -> str:
    """Why this value cannot be; empty when it can."""
    known = NAMED.get(name)
    if known is None:
        return f"{name!r} is no named number; there is: {', '.join(NAMED)}"
    if not known.least <= value <= known.most:
        return f"{name} is {known.least} to {known.most} {known.unit}, not {value}"
    return ""


def in_use(changes: Iterable[tuple[str, int]]) -> dict[str, int]:
    """Every number: its default, or the last of ``changes`` (name, value), oldest first.

    A name that the house no longer knows is passed over, so that old rows stay readable.
    """
    values = {name: named.default for name, named in NAMED.items()}
    values.update((name, value) for name, value in changes if name in values)
    return values
