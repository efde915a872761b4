"""All that a curator has to know before signing, gathered once."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from ..models import Census, NoSecondName, Retyping, Sheet, SignedWithoutSample
from ..rules.runs import NotSeen
from ..rules.states import SHEETS_REPLACED
from .draws import SampleRead, newest_sample
from .late import LatePeriod, late_in
from .measures import Measures, measures_of
from .quiet import Disturbed, disturbed, long_sessions, outside_window
from .reading import Row
from .runs import LetterChange, Missed, drifting, full_counts_due, letters_changed, not_seen, runs_of
from .settings import settings_of
from .typing import ToRetype, differing, retype_of, retyped


@dataclass(frozen=True, slots=True)
class Signed:
    """What stands beside accuracy and differences on the signing page."""

    measures: Measures
    sample: SampleRead | None
    without_sample: list[SignedWithoutSample]
    one_counter: list[tuple[Row, str]]
    no_second_names: list[NoSecondName]
    void_sheets: list[Sheet]
    late: LatePeriod | None
    drifts: list[tuple[Row, int]]
    full_counts_due: list[Row]
    letters: list[LetterChange]
    not_seen: list[Missed]
    disturbed: list[Disturbed]
    long_sessions: list[Row]
    outside_window: list[Row]
    to_retype: list[ToRetype]
    retyped_differently: list[Retyping]

    @property
    def flagged_moves(self) -> list[Disturbed]:
        return [one for one in self.disturbed if one.flagged]

    @property
    def asked_of_curator(self) -> list[Missed]:
        return [one for one in self.not_seen if one.search.stage is NotSeen.QUERY]


def what_is_signed(census: Census, rows: Sequence[Row], *, now: datetime, zone: tzinfo) -> Signed:
    """A constant number of queries, however many lines there are."""
    settings = settings_of(census)
    runs = runs_of(census, rows, settings)
    stated = list(census.no_second_names.select_related("line__sheet", "sheet", "stated_by"))
    why = {one.line_id: one.why for one in stated}
    replaced = [state.value for state in SHEETS_REPLACED]
    return Signed(
        measures=measures_of(census, rows, settings, zone=zone),
        sample=newest_sample(census),
        without_sample=list(census.signed_without_sample.select_related("by")),
        one_counter=[(row, why.get(row.line.pk, "")) for row in rows if row.one_counter_only],
        no_second_names=stated,
        void_sheets=list(census.sheets.filter(state__in=replaced).select_related("replaced_by")),
        late=late_in(census.period, settings=settings, zone=zone),
        drifts=drifting(rows, runs, settings),
        full_counts_due=full_counts_due(rows, runs, settings),
        letters=letters_changed(census, settings),
        not_seen=not_seen(census, settings, now=now, zone=zone),
        disturbed=disturbed(census, settings, now=now),
        long_sessions=[row for row, _ in long_sessions(rows, settings)],
        outside_window=outside_window(rows, census, settings),
        to_retype=retype_of(rows, retyped(census)),
        retyped_differently=differing(census),
    )
