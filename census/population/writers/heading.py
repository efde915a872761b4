"""Where a population is heading: stages, the watch on deaths, the quarter to come."""

from dataclasses import replace
from datetime import timedelta

from census.estimators.rules.estimate import CannotEstimate
from inventory.book.rules.days import day_in_words
from inventory.book.rules.scope import Scope
from inventory.book.rules.words import count_of
from inventory.names.rules.italics import Italics

from ..queries.expecting import Foreseen, foreseen, scores
from ..queries.staged import TaxonStages, read_stages
from ..queries.watching import Series, Watch, false_if_high, read_watch
from ..rules.answer import FEW, Answer, Datum, Section, Table
from ..rules.asked import Asked
from ..rules.course import Key
from ..rules.projection import life_table, outlook, project, stage_matrix
from ..rules.spans import next_quarter, quarter_of
from ..rules.watched import FALSE_ALARMS_A_YEAR
from . import more_charts
from .links import DEATHS, events, number, of_days
from .setting import Setting
from .trend import row_key

STEPS = 4
DRAWN = 24


def stages(asked: Asked, setting: Setting) -> Answer:
    """Life table and projection of what is followed by stage."""
    found, names = read_stages(asked, zone=setting.zone)
    if not found:
        words = (
            "No animal asked about is followed by the stage of its life: nothing can be projected. Write "
            "the stage "
            "(egg case, larva, juvenile, adult) with arrivals and births, and a regrouping when animals "
            "grow; two "
            "stages of one taxon and one quarter of flows are enough for a first matrix."
        )
        return Answer([Section("Stages", words)])
    sections = []
    for place, one in enumerate(found):
        sections += _of_taxon(asked, one, names.taxa[one.taxon_id], place)
    return Answer(sections)


def _of_taxon(asked: Asked, one: TaxonStages, name: str, place: int) -> list[Section]:
    seen, italics = one.stages, Italics([name])
    days = (asked.last_day - asked.first_day).days + 1
    rows = [
        [
            Datum(stage),
            Datum(there),
            Datum(rates.stayed),
            Datum(rates.grew),
            Datum(rates.young),
            Datum(closing),
        ]
        for stage, there, rates, closing in zip(
            seen.names, seen.opening, seen.seen, seen.closing, strict=True
        )
    ]
    columns = (
        ("stage", "Stage"),
        ("opening", "Opening"),
        ("stayed", "Stayed"),
        ("grew", "Grew on"),
        ("young", "Young"),
        ("closing", "Closing"),
    )
    notes = [
        "Young are counted with the last stage. Those that came and died within the days make the number "
        "that stayed too low."
    ]
    if one.not_stated:
        notes.append(f"{one.not_stated} animals have no stage written and are left out.")
    sections = [
        Section(
            f"Stages of {name}",
            f"One step is {days} days.",
            Table("What was seen of each stage", columns, rows),
            notes=notes,
            italics=italics,
        )
    ]
    try:
        matrix = stage_matrix(seen.seen, seen.names)
        ahead = outlook(matrix.tolist())
        to_come = project(seen.seen, [max(n, 0) for n in seen.closing], steps=STEPS)
    except CannotEstimate as error:
        return [*sections, Section(f"Projection of {name}", f"There is none. {error}", italics=italics)]
    lines = [
        [Datum(p.step), *(Datum(round(n, 1), f"{n:,.0f}") for n in (p.median, p.low, p.high))]
        for p in to_come
    ]
    few = sum(seen.opening) < FEW
    words = (
        f"In the long run times {ahead.rate:.2f} a step. From {sum(seen.closing)} animals, {STEPS} steps of "
        f"{days} days, if all goes on as seen and nothing is brought in or sent away."
    ) + (f" Seen were fewer than {FEW} animals: the range says more than the middle." if few else "")
    heads = (("step", "Step"), ("median", "Middle"), ("low", "95 % from"), ("high", "to"))
    drawn = more_charts.ranges(
        f"projection-{place}",
        f"Projection of {name}",
        words,
        [(f"step {p.step}", p.median, p.low, p.high) for p in to_come],
        "animals, middle and range",
    )
    ahead_of = Table("Totals to come", heads, lines)
    sections.append(Section(f"Projection of {name}", words, ahead_of, [drawn], italics=italics))
    alive = _alive(one)
    table = life_table(alive) if alive[0] > 0 else []
    life = [
        [
            Datum(seen.names[row.age]),
            Datum(round(row.alive, 4), f"{row.alive:.3f}"),
            Datum(round(row.chance_of_death, 4), f"{row.chance_of_death:.3f}"),
            Datum(round(row.expectation, 3), f"{row.expectation:.2f}"),
        ]
        for row in table
    ]
    life_heads = (
        ("stage", "Stage"),
        ("reaches", "Share that reaches it"),
        ("leaves", "Share that goes no further"),
        ("to_come", "Stages still to live"),
    )
    life_words = "Of those that begin in the first stage, if stages last as they were seen to in this step."
    by_stage = Table("By stage", life_heads, life)
    sections.append(Section(f"Life table of {name}", life_words, by_stage, italics=italics))
    return sections


def _alive(one: TaxonStages) -> list[float]:
    """The share that reaches each stage: how many of those that leave one grow on."""
    alive = [1.0]
    for rates in one.stages.seen[:-1]:
        leaving = rates.animals - rates.stayed
        alive.append(alive[-1] * (rates.grew / leaving if leaving else 0.0))
    return alive


def watch(asked: Asked, setting: Setting) -> Answer:
    """Every taxon and tank that is watched, with its limits, its sum, and the alarms."""
    asked = _on_the_premises(asked)
    today = min(asked.last_day, asked.today) if asked.known_at is None else asked.today
    read = read_watch(today, zone=setting.zone, known_at=asked.known_at, only=_only(asked))
    if read.not_watched:
        return Answer([Section("The watch on deaths", read.not_watched)])
    alarms = read.alarms(read.since)
    return Answer([_alarms(asked, read), *_sums(read, [one for one, _ in alarms]), _limits(asked, read)])


def _only(asked: Asked) -> Key | None:
    return row_key(asked) if asked.taxon is not None or asked.place is not None else None


def _alarms(asked: Asked, read: Watch) -> Section:
    found = read.alarms(read.since)
    expected = read.false_alarms_a_year
    words = (
        f"{count_of(len(found), 'alarm')} from {day_in_words(read.since)} to {day_in_words(read.until)}, "
        f"the two quarters up to the last day asked for, of {len(read.series)} series. "
        f"If deaths come as usual, {expected:.1f} false alarms a year are to be expected of all of these "
        f"together ({expected * ((read.until - read.since).days + 1) / 365:.1f} in the time shown); the "
        f"house allows itself "
        f"{FALSE_ALARMS_A_YEAR:g} in all. If every usual rate is really at the upper end of what its "
        f"history allows, "
        f"it would be {false_if_high(read.series):.0f}. An alarm is a reason to look, not a finding."
    )
    lines = [
        [
            Datum(alarm.day.isoformat(), day_in_words(alarm.day)),
            Datum(read.names.places.get(one.key.place_id, "")),
            Datum(read.names.taxa.get(one.key.taxon_id, "")),
            Datum(alarm.deaths, href=events(asked, one.key, DEATHS, of_days(alarm.since, alarm.day))),
            Datum(alarm.since.isoformat(), day_in_words(alarm.since)),
            _usual(one, (alarm.day - alarm.since).days + 1),
        ]
        for one, alarm in found
    ]
    columns = (
        ("day", "Alarm on"),
        ("place", "Place"),
        ("name", "Animal"),
        ("deaths", "Died"),
        ("since", "Since"),
        ("usual", "Usual in that time"),
    )
    return Section("Alarms", words, Table("Alarms of the watch on deaths", columns, lines))


def _usual(one: Series, days: int) -> Datum:
    usual = one.limits.usual * days
    return Datum(round(usual, 3), f"{usual:.1f}" if usual >= 0.05 else "under 0.1")


def _sums(read: Watch, spoke: list[Series]) -> list[Section]:
    """The course of the sum for series that spoke, the newest alarms first."""
    shown = list({one.key: one for one in spoke}.values())[:6]
    if not shown and len(read.series) == 1:
        shown = read.series
    sections = []
    for place, one in enumerate(shown):
        name = read.names.of(one.key)
        days = [(one.first + timedelta(days=at), float(day.sum)) for at, day in enumerate(one.days)]
        words = (
            f"{sum(day.deaths for day in one.days)} died since {day_in_words(one.first)}; usual is "
            f"{one.limits.usual:.3g} a day. "
            f"Each day {float(one.limits.k):.3g} is taken off; at {float(one.limits.h):.3g} the watch "
            f"speaks and "
            "begins anew."
        )
        lines = [
            [
                Datum(day.isoformat(), day_in_words(day)),
                Datum(one.days[at].deaths),
                Datum(round(n, 4), f"{n:.2f}"),
                Datum("alarm" if one.days[at].alarm else ""),
            ]
            for at, (day, n) in enumerate(days)
            if one.days[at].deaths or one.days[at].alarm
        ]
        columns = (("day", "Day"), ("deaths", "Died"), ("sum", "Sum"), ("alarm", "Alarm"))
        drawn = more_charts.sums(f"sum-{place}", name, words, days, float(one.limits.h))
        table = Table(f"Days with deaths, {name}", columns, lines)
        italics = read.names.italics([one.key])
        sections.append(Section(name, words, table, [drawn], open=False, italics=italics))
    return sections


def _limits(asked: Asked, read: Watch) -> Section:
    base = of_days(*read.base)
    lines = [
        [
            Datum(read.names.places.get(one.key.place_id, "")),
            Datum(read.names.taxa.get(one.key.taxon_id, "")),
            Datum(one.held),
            number(one.base_deaths, asked, one.key, DEATHS, base),
            Datum(one.limits.usual, f"{one.limits.usual:.3g}"),
            Datum(float(one.limits.k), f"{float(one.limits.k):.3g}"),
            Datum(float(one.limits.h), f"{float(one.limits.h):.3g}"),
            Datum(round(one.limits.false_alarms_a_year, 4), f"{one.limits.false_alarms_a_year:.2f}"),
            Datum(round(one.limits.days_to_notice, 1), f"{one.limits.days_to_notice:.0f}"),
            Datum(one.limits.raised, f"{one.limits.raised:.3g}"),
        ]
        for one in read.series
    ]
    columns = (
        ("place", "Place"),
        ("name", "Animal"),
        ("held", "Now"),
        ("base_deaths", "Died in the base"),
        ("usual", "Usual a day"),
        ("k", "k"),
        ("h", "h"),
        ("false_alarms_a_year", "False alarms a year"),
        ("days_to_notice", "Days to notice"),
        ("raised", "of so many a day"),
    )
    since, until = map(day_in_words, read.base)
    words = (
        f"Usual is what died from {since} to {until}, half a death added, and never less than one "
        "death in a quarter. Poisson CUSUM (Lucas 1985), its false alarms by a Markov chain (Brook and "
        "Evans 1972). It watches numbers, not rates: where many animals were added, more deaths are usual "
        "than it knows."
    )
    notes, italics = [], read.names.italics(read.too_many)
    if read.too_many:
        named = "; ".join(read.names.of(key) for key in read.too_many)
        notes.append(f"Not watched, for too many die by the day as a rule: {named}.")
    title = "What is watched"
    return Section(title, words, Table(title, columns, lines), notes=notes, open=False, italics=italics)


def expected(asked: Asked, setting: Setting) -> Answer:
    """The range of each taxon for the quarter after the one asked about, and how earlier ranges fared."""
    quarter = next_quarter(quarter_of(asked.last_day))
    outlooks = foreseen(quarter.first, zone=setting.zone, known_at=asked.known_at, asked=asked)
    with_range = [row for row in outlooks.rows if row.expected is not None]
    lines = [
        [
            Datum(outlooks.names.taxa[row.taxon_id]),
            number(
                row.opening, _on_the_premises(asked), Key(row.taxon_id, 0), "closing", outlooks.history[-1]
            ),
            Datum(row.expected.low if row.expected else None),
            Datum(row.expected.middle if row.expected else None),
            Datum(row.expected.high if row.expected else None),
            _written_down(row, setting),
            Datum(row.why_not),
        ]
        for row in outlooks.rows
    ]
    columns = (
        ("name", "Animal"),
        ("opening", "At the start"),
        ("low", "From"),
        ("middle", "Middle"),
        ("high", "to"),
        ("kept", "Written down"),
        ("why_not", "Why there is no range"),
    )
    title = f"Expected by the end of {quarter.name}"
    words = (
        f"{len(with_range)} of {len(outlooks.rows)} taxa have a range: 19 of 20 should hold. On the "
        f"premises, from "
        "births and deaths of up to eight quarters; what people bring in or send away is not foreseen. "
        "Ranges are "
        "written down when a period is closed, or by the command population expected --keep."
    )
    if not outlooks.rows:
        words = "The book holds nothing of what is asked for: there is no range to tell."
    drawn = [
        (outlooks.names.taxa[row.taxon_id], row.expected.middle, row.expected.low, row.expected.high)
        for row in with_range
        if row.expected
    ]
    drawn.sort(key=lambda one: -one[3])
    cut = outlooks.names.italics(Key(row.taxon_id, 0) for row in with_range).cut
    charts = [
        more_charts.ranges("expected", title, words, drawn[:DRAWN], "animals, middle and range", cut=cut)
    ]
    first = Section(title, words, Table(title, columns, lines, italic=True), charts if drawn else [])
    return Answer([first, _scored(asked, setting)])


def _on_the_premises(asked: Asked) -> Asked:
    """What the watch and the ranges are told of, whatever else was asked: animals on the premises."""
    return replace(asked, scope=Scope.HERE, unit="animal")


def _written_down(row: Foreseen, setting: Setting) -> Datum:
    """The range as it was written down, and the day in the house's zone."""
    if row.kept is None:
        return Datum("")
    day = row.kept.made_at.astimezone(setting.zone).date()
    told = f"{row.kept.low} to {row.kept.high}"
    return Datum(f"{told}, {day.isoformat()}", f"{told}, {day_in_words(day)}")


def _scored(asked: Asked, setting: Setting) -> Section:
    title = "How earlier ranges fared"
    read = scores(asked.today, zone=setting.zone, asked=asked, known_at=asked.known_at)
    if not read.rows or read.covered is None:
        return Section(title, "No range that was written down has come to its end yet.")
    inside = sum(one.inside for one in read.rows)
    words = f"{inside} of {len(read.rows)} ranges held what came; 19 of 20 were promised."
    if len(read.rows) >= FEW:
        share, high = read.covered, read.covered.high or 1.0
        words += f" That is {100 * share.estimate:.0f} %"
        words += f" (95 % interval {100 * share.low:.0f} to {100 * high:.0f} %)."
    lines = [
        [
            Datum(str(one.expectation.taxon)),
            Datum(quarter_of(one.expectation.quarter_starts_on).name),
            Datum(one.expectation.low),
            Datum(one.expectation.high),
            Datum(one.came),
            Datum(
                one.closing,
                href=events(
                    _on_the_premises(asked),
                    Key(one.expectation.taxon_id, 0),
                    "closing",
                    of_days(one.expectation.quarter_starts_on, one.expectation.quarter_ends_on),
                ),
            ),
            Datum("held" if one.inside else "did not hold"),
            Datum(one.expectation.fingerprint[:12]),
        ]
        for one in read.rows
    ]
    columns = (
        ("name", "Animal"),
        ("quarter", "Quarter"),
        ("low", "From"),
        ("high", "to"),
        ("came", "Came, by itself"),
        ("closing", "Closing"),
        ("verdict", "Range"),
        ("fingerprint", "Inputs"),
    )
    notes = ["“Came, by itself” is the closing less what people brought in or sent away in the quarter."]
    return Section(title, words, Table(title, columns, lines, italic=True), notes=notes)
