"""The census's words in templates."""

import re

from django.template import Library
from django.utils.safestring import SafeString

from inventory.book.templatetags.book_words import difference, happened

from ..models import Count
from ..queries.reading import LineRead, Row
from ..rules.steps import Step
from ..rules.words import How

register = Library()
_MINUS = re.compile(r"(?<![\w-])-(?=\d)")


@register.filter
def how_words(how: str) -> str:
    """``late_move`` as "late move"."""
    return How(how).words


@register.filter
def step_words(step: Step) -> str:
    """What a decision of a proposal posts: "adjustment -5, eaten (suspected), on CS-26Q3-07 line 5"."""
    stated = step.settling
    n = f"{stated.n:+d}" if stated.how is How.ADJUSTMENT else str(stated.n or len(stated.accessions) or "")
    what = " ".join(part for part in (stated.how.words, n) if part)
    parts = [what, stated.kind.value.replace("_", " ") if stated.kind else "", stated.reason]
    parts.append(happened(stated.happened))
    if stated.from_sex or stated.to_sex:
        parts.append(f"{stated.from_sex} to {stated.to_sex}")
    if stated.to_place and not step.to_line:
        parts.append(f"to {stated.to_place}")
    told = ", ".join(part for part in parts if part)
    return f"{told}, on {step.line}" + (f" to {step.to_line}" if step.to_line else "")


@register.filter
def proposal_words(key: str) -> str:
    """The key of a proposal as it is read out: its cause, then the lines that it is about."""
    cause, _, about = key.partition(" / ")
    return ", ".join(part for part in (cause.replace("_", " "), about) if part)


@register.filter
def signed(n: int | None) -> SafeString | str:
    """A difference with its sign and colour; nothing for what was not counted."""
    return "" if n is None else difference(n)


@register.filter
def true_minus(text: str) -> str:
    """ "(-2)" with the minus of pages; hyphens of names and numbers of sheets stay."""
    return _MINUS.sub("\N{MINUS SIGN}", text)


@register.filter
def rounds(row: Row, upto: int) -> list[str]:
    """What the counts 1 to ``upto`` of a row say, empty where there is none."""
    return [_told([part.counts.get(number) for part in row.parts]) for number in range(1, upto + 1)]


@register.filter
def counts_told(part: LineRead) -> list[tuple[Count, int | None, bool]]:
    """(count, book at its moment, typed over) of a line, those typed over before what replaced them."""
    told: list[tuple[Count, int | None, bool]]
    told = [(count, part.present(round_), False) for round_, count in part.counts.items()]
    told += [(count, None, True) for count in part.typed_before]
    return sorted(told, key=lambda one: (one[0].round, one[0].pk))


def _told(counts: list[Count | None]) -> str:
    """One round in words: the sum of a joined set, "at least" where a part says so, or the letter."""
    present = [count for count in counts if count is not None]
    if not present or len(present) < len(counts):
        return ""
    values = [count.value for count in present if count.value is not None]
    if len(values) < len(present):
        return ", ".join(count.letter for count in present)
    least = "at least " if any(count.at_least for count in present) else ""
    return f"{least}{sum(values):,}"
