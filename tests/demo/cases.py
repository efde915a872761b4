"""The cases of the half-counted census: what is proposed, what accepting it leads to."""

from dataclasses import dataclass, field

from census.differences.rules.causes import Cause
from census.rounds.queries.explaining_lines import Looked
from census.rounds.rules.words import How

CURATOR, OFFICER = "Dr Osric Fennadale", "Tamsin Corrigarth"
Closing = dict[tuple[str, str], tuple[int, int]]


@dataclass(frozen=True)
class Case:
    """``cause`` is that of the first proposal for the line of ``name`` in ``place``, and it explains
    ``explains``; ``None``: nothing is proposed. ``says``: words of its evidence. ``looked``: at which count.
    ``accept``: accepting it is what settles the case; ``closing``: (total, missing) at the closing then."""

    number: str
    place: str
    name: str
    cause: Cause | None
    explains: int = 0
    how: How | None = None
    says: str = ""
    looked: Looked = Looked.LATEST
    recount: bool = False
    accept: bool = False
    curator: bool = False
    slips: bool = False
    closing: Closing = field(default_factory=dict)


def _agrees(number: str, place: str, name: str, total: int, *, slips: bool = False) -> Case:
    return Case(number, place, name, None, slips=slips, closing={(place, name): (total, 0)})


def _recount(
    number: str, place: str, name: str, cause: Cause, explains: int, says: str, closing: Closing
) -> Case:
    """What the recount settled; the first count stays visible, and what was thought of it."""
    return Case(number, place, name, cause, explains, None, says, Looked.FIRST, recount=True, closing=closing)


CASES = [
    _agrees("C01", "E05", "Pleuronectes platessa", 12),
    Case(
        "C02", "E07", "Gobius niger", Cause.EATEN, -5, How.ADJUSTMENT, "Conger conger",
        accept=True, curator=True, closing={("E07", "Gobius niger"): (6, 0)},
    ),
    _agrees("C03", "E05", "Callionymus lyra", 8, slips=True),
    Case(
        "C04", "E02", "Symphodus melops", Cause.MOVE, 6, How.LATE_MOVE, "the same number",
        accept=True, closing={("E02", "Symphodus melops"): (24, 0), ("Q1", "Symphodus melops"): (0, 0)},
    ),
    _agrees("C05", "E04", "Syngnathus acus", 5),
    _agrees("C05", "E12", "Syngnathus acus", 2),
    _recount(
        "C06", "E02", "Labrus bergylta", Cause.MISCOUNT, 5, "2 windows: were they added up",
        {("E02", "Labrus bergylta"): (9, 0)},
    ),
    Case(
        "C07", "E11", "Trisopterus luscus", Cause.LOOK_ALIKE, -3, How.CHANGE_OF_NAME, "looks alike",
        accept=True,
        closing={("E11", "Trisopterus luscus"): (19, 0), ("E11", "Trisopterus minutus"): (18, 0)},
    ),
    Case(
        "C08", "E02", "Ciona intestinalis", Cause.SETTLED, 0, How.OBSERVATION, "presence only, letter C",
        accept=True,
    ),
    Case(
        "C09", "E01", "Styela clava", Cause.INTRODUCED, 3, How.OBSERVATION, "tell the permit officer",
        accept=True, closing={("E01", "Styela clava"): (0, 0)},
    ),
    Case(
        "C10", "E08", "Corynactis viridis", Cause.DIVIDED, 72, How.LATE_EVENT, "multiplies",
        accept=True, closing={("E08", "Corynactis viridis"): (212, 0)},
    ),
    Case(
        "C10", "E03", "Anemonia viridis", Cause.DIVIDED, 5, How.LATE_EVENT, "multiplies",
        accept=True, closing={("E03", "Anemonia viridis"): (27, 0)},
    ),
    Case(
        "C11", "E03", "young cushion stars under 5 mm", Cause.BORN, 31, How.YOUNG_APART, "2026-10-29",
        accept=True, closing={("E03", "Asterina gibbosa"): (16, 0)},
    ),
    Case(
        "C12", "E02", "Labrus mixtus", Cause.SEX_CHANGE, 0, How.REGROUP, "1 from female to male",
        accept=True, closing={("E02", "Labrus mixtus"): (6, 0)},
    ),
    _recount(
        "C13", "E12", "Scyliorhinus canicula", Cause.UNIT, 23, "counts 23 egg cases here",
        {("E12", "Scyliorhinus canicula"): (8, 0)},
    ),
    _recount(
        "C14", "E08", "Alcyonium digitatum", Cause.UNIT, 39, "46 for 7 colonies",
        {("E08", "Alcyonium digitatum"): (7, 0)},
    ),
    Case(
        "C16", "E07", "Conger conger", Cause.NOT_SEEN, -1, How.MISSING, "Thole: search",
        accept=True, closing={("E07", "Conger conger"): (2, 1)},
    ),
    Case(
        "C17", "E07", "Homarus gammarus", Cause.ELSEWHERE, -1, How.LATE_MOVE, "note of 2026-09-25",
        accept=True, closing={("E07", "Homarus gammarus"): (3, 0), ("H1", "Homarus gammarus"): (1, 0)},
    ),
    Case(
        "C18", "LO", "Raja undulata", Cause.LETTER, -1, How.LATE_EVENT, "one female died 22 Aug",
        accept=True, closing={("LO", "Raja undulata"): (2, 0)},
    ),
    _recount(
        "C18b", "E06", "Raja montagui", Cause.LOOK_ALIKE, -1, "Raja undulata, which looks alike",
        {("E06", "Raja montagui"): (5, 0), ("E06", "Raja undulata"): (3, 0)},
    ),
    Case(
        "C19", "E04", "Hippocampus guttulatus", Cause.NOT_SEEN, -3, How.MISSING,
        "notice within 7 days, by 2026-10-06",
        accept=True, closing={("E04", "Hippocampus guttulatus"): (18, 3)},
    ),
    _agrees("C20", "E04", "Spinachia spinachia", 12, slips=True),
    Case(
        "C21", "E11", "Atherina presbyter", Cause.DOUBLE, 3, How.LATE_EVENT, "41 s apart",
        accept=True, closing={("E11", "Atherina presbyter"): (160, 0)},
    ),
    Case(
        "C22", "E03", "Littorina littorea", Cause.TYPING, -53, None, "with its digits turned it is 71",
        Looked.TYPED, recount=True, closing={("E03", "Littorina littorea"): (70, 0)},
    ),
    _recount(
        "C23", "E06", "dogfish", Cause.OTHER_NAME, 5, "Scyliorhinus canicula or Scyliorhinus stellaris",
        {("E06", "Scyliorhinus canicula"): (11, 0), ("E06", "Scyliorhinus stellaris"): (3, 0)},
    ),
    _agrees("C24", "E02", "Pomatoschistus flavescens", 118),
    Case(
        "C25", "E02", "Ctenolabrus rupestris", Cause.LOSS, -2, How.ADJUSTMENT, "a pool of several sources",
        accept=True, closing={("E02", "Ctenolabrus rupestris"): (27, 0)},
    ),
    Case(
        "C27", "E05", "Ammodytes tobianus", Cause.MINIMUM, -38, How.OBSERVATION, "no proof of a loss",
        accept=True, closing={("E05", "Ammodytes tobianus"): (60, 0)},
    ),
    Case(
        "C28", "E03a + E03b", "Palaemon serratus", Cause.JOINED, -12, How.LATE_MOVE, "are joined",
        accept=True, curator=True,
        closing={("E03a", "Palaemon serratus"): (18, 0), ("E03b", "Palaemon serratus"): (25, 0)},
    ),
    _recount(
        "C29", "E05", "Crangon crangon", Cause.MISCOUNT, 150, "Count before feeding",
        {("E05", "Crangon crangon"): (40, 0)},
    ),
    Case(
        "C30", "E09", "Eledone cirrhosa", Cause.SWAPPED, 0, How.CHANGE_OF_NAME, "is it Pip",
        accept=True, curator=True, closing={("E09", "Eledone cirrhosa"): (1, 0)},
    ),
    _recount(
        "C31", "E01", "Adamsia palliata", Cause.MISCOUNT, 1, "'5 pairs'",
        {("E01", "Pagurus prideaux"): (5, 0), ("E01", "Adamsia palliata"): (4, 0)},
    ),
    Case(
        "C32", "E10", "Aurelia aurita", Cause.BELOW_ZERO, 42, How.LATE_EVENT, "never entered, about 42",
        accept=True, closing={("E10", "Aurelia aurita"): (36, 0)},
    ),
    Case(
        "C33", "E12", "Cyclopterus lumpus", Cause.EDITED, 8, How.LATE_EVENT, "neither reason nor approval",
        accept=True, curator=True, closing={("E12", "Cyclopterus lumpus"): (60, 0)},
    ),
    _agrees("C34", "E12", "Homarus gammarus", 57),
    Case(
        "C37", "E03", "Henricia oculata", Cause.OTHER_NAME, -1, How.OBSERVATION, "look at the picture",
        accept=True, closing={("E03", "Henricia oculata"): (4, 0)},
    ),
]  # fmt: skip
