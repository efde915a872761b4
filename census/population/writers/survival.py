"""Survival from arrival, and deaths soon after it, cohort by cohort."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from census.change.rules.young import YOUNG_DAYS
from census.estimators.rules.estimate import CannotEstimate
from inventory.book.models import Lot
from inventory.book.rules.days import day_in_words
from inventory.book.rules.words import KIND_WORDS, count_of
from inventory.book.rules.words import whole as with_thousands

from ..queries.lives import Cohort, Histories, read_histories
from ..rules.answer import FEW, Answer, Datum, Section, Table, share
from ..rules.asked import Asked
from ..rules.course import Key
from ..rules.spans import quarter_of
from ..rules.survival import Curve, Life, kaplan_meier
from . import more_charts
from .links import events, of_days
from .setting import Setting

_STEPS = (
    ("days", "Days since arrival"),
    ("at_risk", "At risk"),
    ("died", "Died"),
    ("alive", "Share alive"),
    ("se", "Standard error"),
    ("low", "95 % from"),
    ("high", "to"),
)


def survival(asked: Asked, setting: Setting) -> Answer:
    """The curve of all that can be followed, and the quarters in which they came beside each other."""
    histories = read_histories(asked, zone=setting.zone)
    return Answer([_curve(histories), _by_cohort(histories)])


def _curve(histories: Histories) -> Section:
    title = "Survival from arrival"
    followed = histories.followed
    left_out = (
        f"Left out: {with_thousands(followed.pooled)} animals that came into lots of mixed arrival, of which "
        f"nobody knows who died, and {with_thousands(followed.unknown)} whose day of arrival is not on the "
        "books. See “Deaths soon after arrival” for the least and the most."
    )
    notes = [
        left_out,
        "Who came before the first day enters late; who was alive at the end, sent on, let go or lost "
        "sight of "
        "counts as alive until then. Died and put down are deaths. Standard error by Greenwood, interval "
        "by the "
        "complementary log-log.",
    ]
    try:
        curve = kaplan_meier(followed.all)
    except CannotEstimate as error:
        return Section(title, str(error), notes=notes)
    last = max(life.exit for life in followed.all)
    words = _in_words(curve)
    table = Table("Steps of the curve", _STEPS, _steps(curve))

    def at_risk(day: float) -> int:
        return sum(life.number for life in followed.all if life.entry <= day < life.exit)

    drawn = [more_charts.survival((title, words), curve, last, at_risk)]
    return Section(title, words, table, drawn, [*curve.warnings, *notes], open=False)


def _in_words(curve: Curve) -> str:
    words = f"{count_of(curve.animals, 'animal')} followed, {with_thousands(curve.deaths)} died."
    if curve.animals < FEW:
        return words + f" Fewer than {FEW}: look at the animals, not at the curve."
    words += f" Alive after {YOUNG_DAYS} days: {100 * curve.at(YOUNG_DAYS):.0f} %."
    if curve.median is not None:
        return words + f" Half were dead after {curve.median:g} days."
    return words + " The curve does not fall to a half."


def _steps(curve: Curve) -> list[list[Datum]]:
    def part(value: float | None) -> Datum:
        return Datum(None if value is None else round(value, 4), "" if value is None else f"{value:.3f}")

    return [
        [
            Datum(step.time, f"{step.time:g}"),
            Datum(step.at_risk),
            Datum(step.deaths),
            part(step.survival),
            part(step.se),
            part(step.low),
            part(step.high),
        ]
        for step in curve.steps
    ]


def _by_cohort(histories: Histories) -> Section:
    """Cohorts are the quarters of arrival."""
    by_quarter: defaultdict[str, list[Life]] = defaultdict(list)

    for day, lives in histories.followed.lives.items():
        by_quarter[quarter_of(date.fromordinal(day)).name].extend(lives)
    lines = []
    for name, lives in sorted(by_quarter.items()):
        curve = kaplan_meier(lives)
        longest = max(life.exit for life in lives)
        at_30 = curve.at(YOUNG_DAYS) if longest >= YOUNG_DAYS else None
        few = curve.animals < FEW
        lines.append(
            [
                Datum(name),
                Datum(curve.animals),
                Datum(curve.deaths),
                Datum(longest, f"{longest:g}"),
                Datum(None if at_30 is None else round(at_30, 4), _percent(at_30, few)),
                Datum(curve.median, "not reached" if curve.median is None else f"{curve.median:g}"),
            ]
        )
    columns = (
        ("quarter", "Came in"),
        ("animals", "Followed"),
        ("died", "Died"),
        ("followed_days", "Followed for days"),
        ("alive_at_30", f"Alive after {YOUNG_DAYS} days"),
        ("half_dead_after", "Half dead after days"),
    )
    words = (
        f"{count_of(len(lines), 'quarter')} of arrival."
        if lines
        else "No animal can be followed from its arrival."
    )
    return Section("By quarter of arrival", words, Table("Survival by quarter of arrival", columns, lines))


def _percent(value: float | None, few: bool) -> str:
    if value is None:
        return "not followed so long"
    return "fewer than 20" if few else f"{100 * value:.0f} %"


def soon_after(asked: Asked, setting: Setting) -> Answer:
    """Deaths within thirty days of arrival of each cohort: the least and the most that the book allows."""
    histories = read_histories(asked, zone=setting.zone)
    cohorts = histories.cohorts
    accessions = dict(Lot.objects.filter(pk__in={one.lot for one in cohorts}).values_list("pk", "accession"))
    whole = [one for one in cohorts if one.whole]
    arrived, least, most = _sums(whole)
    words = (
        f"{count_of(len(cohorts), 'cohort')} came; of {count_of(arrived, 'animal')} in the {len(whole)} "
        f"that were followed for {YOUNG_DAYS} days at least {share(least, arrived)} died within them"
        + (f", at most {with_thousands(most)}." if most != least else ".")
        if whole
        else f"No cohort came and was followed for {YOUNG_DAYS} days."
    )
    lines = [
        [
            Datum(one.day.isoformat(), day_in_words(one.day)),
            Datum(accessions[one.lot]),
            Datum(histories.names.taxa.get(one.taxon_id, "")),
            Datum(one.cause, KIND_WORDS.get(one.cause, one.cause)),
            Datum(one.arrived, href=_href(asked, one, one.cause)),
            Datum(one.young.least, href=_href(asked, one, "died") if one.young.most else ""),
            Datum(one.young.most, href=_href(asked, one, "died") if one.young.most else ""),
            Datum("" if one.whole else "not over yet"),
        ]
        for one in cohorts
    ]
    columns = (
        ("day", "Came on"),
        ("lot", "Lot"),
        ("name", "Animal"),
        ("how", "How"),
        ("arrived", "Came"),
        ("least", "Died, at least"),
        ("most", "at most"),
        ("open", f"{YOUNG_DAYS} days"),
    )
    table = Table(f"Deaths within {YOUNG_DAYS} days of arrival, by cohort", columns, lines)
    notes = [
        "In a lot that held other animals too nobody knows who died. Least: every death took another "
        "animal when "
        "there was one. Most: every death took one of the cohort. Where both are the same, it is known. "
        "Animals "
        "regrouped into another lot are followed no further.",
    ]
    return Answer([Section("Deaths soon after arrival", words, table, notes=notes)])


def _sums(cohorts: Iterable[Cohort]) -> tuple[int, int, int]:
    chosen: Sequence[Cohort] = list(cohorts)
    return (
        sum(one.arrived for one in chosen),
        sum(one.young.least for one in chosen),
        sum(one.young.most for one in chosen),
    )


def _href(asked: Asked, cohort: Cohort, figure: str) -> str:
    """Events of the lot on the day, or in the thirty days after."""

    last = cohort.day if figure != "died" else cohort.day + timedelta(days=YOUNG_DAYS)
    told = events(
        asked,
        Key(0, 0),
        "died+died_within_30_days" if figure == "died" else figure,
        of_days(cohort.day, last),
    )
    return told.replace("by=taxon", "by=lot") + f"&group={cohort.lot}"
