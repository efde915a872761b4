"""The columns of the yearly stock list: a template that a house edits.

Every column of the population change stands under exactly one heading, so that the list ties however it is
arranged. The default follows the form of Great Britain's zoo licensing (*from memory; check it against the
form of your own authority*).
"""

from collections.abc import Mapping
from dataclasses import dataclass

from census.change.rules.columns import FLOW_COLUMNS, HEADINGS, SIGNS

LATE = "late"
# What a house arranges: everything that leads from the start of the year to its end.
ARRANGED = (*FLOW_COLUMNS, LATE)
YOUNG = "died_within_30_days"

_ARRIVED, _BORN, _DIED, _LEFT = "arrived", "born", "died", "left"
_BETWEEN, _LATE = "regrouped or moved (net)", "entered late for an earlier year (net)"
DEFAULT: Mapping[str, str] = {
    **dict.fromkeys(("taken", "received", "loan_in", "back_from_loan", "settled", "found"), _ARRIVED),
    **dict.fromkeys(("born", "divided"), _BORN),
    YOUNG: "died within 30 days of birth",
    **dict.fromkeys(("died", "put_down"), _DIED),
    **dict.fromkeys(("released", "sent", "loan_out", "given_back", "unaccounted"), _LEFT),
    **dict.fromkeys(("moved_in", "moved_out", "regrouped_in", "regrouped_out"), _BETWEEN),
    LATE: _LATE,
}
LONGEST = 60


@dataclass(frozen=True, slots=True)
class Heading:
    """One column of the list: what it adds up, each with its sign in the column.

    ``sign`` is +1 or -1 where all columns go one way, 0 where the heading holds a net.
    """

    words: str
    signs: Mapping[str, int]
    sign: int

    @property
    def key(self) -> str:
        return f"heading {self.words}"


def headings(template: Mapping[str, str]) -> list[Heading]:
    """The columns of the list, in the order of the columns of the change."""
    words = list(dict.fromkeys(template[column] for column in ARRANGED))
    found = []
    for one in words:
        columns = [column for column in ARRANGED if template[column] == one]
        ways = {SIGNS[column] for column in columns}
        net = len(ways) > 1 or LATE in columns
        signs = {column: SIGNS[column] if net else 1 for column in columns}
        found.append(Heading(one, signs, 0 if net else ways.pop()))
    return found


def check(template: Mapping[str, str]) -> list[str]:
    """Why a template cannot be used; empty when it can."""
    wrong = [
        f"“{HEADINGS[column]}” stands under no heading" for column in ARRANGED if not template.get(column)
    ]
    wrong += [f"{column!r} is no column of the change" for column in template if column not in ARRANGED]
    wrong += [
        f"the heading “{words}” is longer than {LONGEST} letters"
        for words in sorted(set(template.values()))
        if len(words) > LONGEST
    ]
    return wrong
