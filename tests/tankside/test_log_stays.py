"""How long animals have been apart, from plain steps: joins, leavings, what was taken back."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from inventory.tankside.rules.stays import End, LeastDays, Step, ends_on, least_days, read_stays, released

ZONE = ZoneInfo("Atlantic/Faroe")
FIRST = datetime(2026, 9, 1, 9, tzinfo=ZONE)
QUARANTINE, HOSPITAL, HALL = 1, 2, 3
APART = frozenset({QUARANTINE, HOSPITAL})
WILD, DIED, SENT, BORN = (End(0, 0, cause) for cause in ("taken", "died", "sent", "born"))


def at(day: int) -> datetime:
    return FIRST + timedelta(days=day)


def in_(place: int, lot: int = 7) -> End:
    return End(lot, place, "")


def step(day: int, origin: End, target: End, n: int = 1, *, event: int = 0, back: bool = False) -> Step:
    return Step(event or day + 1, at(day), origin, target, n, back)


def test_a_stay_lasts_from_the_first_to_the_last_that_left() -> None:
    steps = [
        step(0, WILD, in_(QUARANTINE), 5),
        step(3, in_(QUARANTINE), in_(HALL), 2),
    ]
    stay = read_stays(steps, APART).now[7, QUARANTINE]
    assert (stay.since, stay.joined, stay.begun_by, stay.n) == (at(0), at(0), 1, 3)
    steps.append(step(9, in_(QUARANTINE), in_(HALL), 3))
    assert read_stays(steps, APART).now == {}
    steps.append(step(20, in_(HALL), in_(QUARANTINE), 1))
    assert read_stays(steps, APART).now[7, QUARANTINE].since == at(20)


def test_who_joins_later_begins_the_days_anew_for_all() -> None:
    steps = [step(0, WILD, in_(QUARANTINE), 5), step(10, WILD, in_(QUARANTINE), 1)]
    stay = read_stays(steps, APART).now[7, QUARANTINE]
    assert (stay.since, stay.joined) == (at(0), at(10))


def test_young_born_there_begin_no_days() -> None:
    steps = [step(0, WILD, in_(QUARANTINE), 2), step(10, BORN, in_(QUARANTINE), 30)]
    assert read_stays(steps, APART).now[7, QUARANTINE].joined == at(0)


def test_a_split_inside_takes_its_days_along() -> None:
    steps = [step(0, WILD, in_(QUARANTINE), 5), step(10, in_(QUARANTINE), in_(QUARANTINE, lot=8), 1)]
    found = read_stays(steps, APART)
    assert found.now[8, QUARANTINE].since == at(0)
    assert found.left == []


def test_what_was_taken_back_never_was() -> None:
    steps = [
        step(0, WILD, in_(QUARANTINE), 5),
        step(5, in_(QUARANTINE), in_(HALL), 5, event=6),
        step(5, in_(HALL), in_(QUARANTINE), 5, event=9, back=True),
    ]
    found = read_stays(steps, APART)
    assert found.now[7, QUARANTINE].joined == at(0)
    assert found.left == []


def test_a_death_is_no_leaving_and_a_transfer_to_the_hospital_neither() -> None:
    steps = [
        step(0, WILD, in_(QUARANTINE), 5),
        step(1, in_(QUARANTINE), DIED),
        step(2, in_(QUARANTINE), in_(HOSPITAL)),
        step(3, in_(QUARANTINE), in_(HALL)),
        step(4, in_(QUARANTINE), SENT),
    ]
    found = read_stays(steps, APART)
    assert [(one.event, one.n) for one in found.left] == [(4, 1), (5, 1)]
    assert found.now[7, HOSPITAL].since == at(2)


def test_missing_and_sexing_move_nobody() -> None:
    steps = [step(0, WILD, in_(QUARANTINE), 5), step(1, in_(QUARANTINE), in_(QUARANTINE), 2)]
    assert read_stays(steps, APART).now[7, QUARANTINE].n == 5


@given(
    st.lists(
        st.tuples(st.integers(0, 30), st.sampled_from([WILD, in_(HALL)]), st.integers(1, 5), st.booleans()),
        max_size=25,
    ),
    st.randoms(),
)
def test_the_order_in_which_steps_are_read_does_not_matter(
    moves: list[tuple[int, End, int, bool]], shuffle: object
) -> None:
    """And a lot has a stay exactly while the place holds any of it."""
    steps, held = [], 0
    for number, (day, other, n, leaves) in enumerate(sorted(moves, key=lambda move: move[0])):
        takes = min(n, held) if leaves else n
        if takes:
            ends = (
                (in_(QUARANTINE), other if other.place else in_(HALL)) if leaves else (other, in_(QUARANTINE))
            )
            steps.append(step(day, *ends, takes, event=number + 1))
            held += -takes if leaves else takes
    mixed = list(steps)
    shuffle.shuffle(mixed)  # type: ignore[attr-defined]
    found = read_stays(mixed, APART)
    assert found == read_stays(steps, APART)
    assert ((7, QUARANTINE) in found.now) == (held > 0)
    assert found.now.get((7, QUARANTINE)) is None or found.now[7, QUARANTINE].n == held


RULES = [
    LeastDays("", 30, date(2026, 1, 1)),
    LeastDays("Elasmobranchii", 60, date(2026, 1, 1)),
    LeastDays("Elasmobranchii", 90, date(2026, 9, 10)),
    LeastDays("Raja clavata", 45, date(2026, 1, 1)),
]


def days(names: list[str], on: date) -> int | None:
    rule = least_days(RULES, names, on)
    return rule.days if rule else None


def test_the_narrowest_group_says_the_days_and_of_one_group_the_newest() -> None:
    shark = ["Scyliorhinus canicula", "Scyliorhinus", "Scyliorhinidae", "Elasmobranchii"]
    assert days(["Raja clavata", "Raja", "Elasmobranchii"], date(2026, 9, 10)) == 45
    assert days(shark, date(2026, 9, 9)) == 60
    assert days(shark, date(2026, 9, 10)) == 90
    assert days(["Gadus morhua"], date(2026, 9, 10)) == 30
    assert days(["Gadus morhua"], date(2025, 9, 10)) is None
    assert days(["ELASMOBRANCHII"], date(2026, 9, 9)) == 60


def test_days_are_full_so_many_days_after_the_last_joined() -> None:
    assert ends_on(date(2026, 9, 1), RULES[0]) == date(2026, 10, 1)
    assert ends_on(date(2026, 9, 1), None) is None


def test_a_release_holds_for_those_that_were_there() -> None:
    assert released([at(5)], after=at(0), by=at(6))
    assert not released([at(5)], after=at(5) + timedelta(minutes=1), by=at(9))
    assert not released([at(5)], after=at(0), by=at(4))
