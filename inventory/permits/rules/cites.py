"""Trade in species of the CITES appendices: codes, and the yearly report as a table by species.

Convention on International Trade in Endangered Species, article VIII: parties report each year. What is
made here is the house's own record, from which a management authority is told; it is no permit.
"""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum


class Trade(StrEnum):
    """How an event crossed a border."""

    IMPORT = "import"
    EXPORT = "export"
    REEXPORT = "reexport"
    INTRODUCTION = "introduction"
    NONE = "none"

    @property
    def words(self) -> str:
        """For a list to choose from."""
        return _TRADE_WORDS[self]


_TRADE_WORDS = {
    Trade.IMPORT: "import",
    Trade.EXPORT: "export",
    Trade.REEXPORT: "re-export",
    Trade.INTRODUCTION: "introduction from the sea",
    Trade.NONE: "no border was crossed",
}


@dataclass(frozen=True, slots=True)
class Code:
    """One code: ``was`` is the one that older lists have for it."""

    code: str
    words: str
    was: str
    mark: str
    note: str


@dataclass(frozen=True, slots=True)
class CodeList:
    """One list of codes with its source."""

    name: str
    source: str
    source_date: str
    mark: str
    codes: Mapping[str, Code]

    def now(self, written: str) -> str:
        """The code in use for what was written, old or new, in whatever case.

        Raises :class:`ValueError` that says what there is.
        """
        asked = written.strip().upper()
        if asked in self.codes:
            return asked
        for code in self.codes.values():
            if code.was and asked == code.was:
                return code.code
        if not asked:
            raise ValueError(f"choose a code of “{self.name}”")
        raise ValueError(f"{written!r} is no code of “{self.name}”; there are {', '.join(self.codes)}")

    @property
    def choices(self) -> list[tuple[str, str]]:
        """For a list to choose from."""
        return [(one.code, f"{one.code} {one.words}") for one in self.codes.values()]


_APPENDIX = re.compile(r"\bAppendix\s+(III|II|I)\b")


def appendix_in(words: str) -> str:
    """ "II" out of "Appendix II"; blank where no appendix is named."""
    found = _APPENDIX.search(words)
    return found[1] if found else ""


@dataclass(frozen=True, slots=True)
class Moved:
    """One statement of trade. ``quantity`` none: not stated, or not for the reader."""

    name: str
    appendix: str
    trade: Trade
    country: str
    origin: str
    source: str
    purpose: str
    term: str
    unit: str
    quantity: Decimal | None
    papers: str


@dataclass(slots=True)
class ReportRow:
    """All trade of one species that agrees in every column but the quantity."""

    name: str
    appendix: str
    trade: Trade
    country: str
    origin: str
    source: str
    purpose: str
    term: str
    unit: str
    quantity: Decimal | None
    papers: list[str] = field(default_factory=list)

    @property
    def values(self) -> dict[str, object]:
        """The row as files have it."""
        return {
            "taxon": self.name,
            "appendix": self.appendix,
            "trade": self.trade.value,
            "country": self.country,
            "origin": self.origin,
            "term": self.term,
            "unit": self.unit,
            "quantity": plain(self.quantity),
            "purpose": self.purpose,
            "source": self.source,
            "permits": "; ".join(self.papers),
        }


COLUMNS = (
    *("taxon", "appendix", "trade", "country", "origin", "term", "unit", "quantity", "purpose", "source"),
    "permits",
)


def report(moved: Iterable[Moved]) -> list[ReportRow]:
    """The table: by name, then imports, exports, re-exports, introductions. One unknown hides its sum."""
    order = list(Trade)
    sums: defaultdict[tuple[object, ...], list[Moved]] = defaultdict(list)
    for one in moved:
        if one.trade is not Trade.NONE:
            sums[
                one.name, one.appendix, order.index(one.trade), one.country, one.origin,
                one.term, one.unit, one.purpose, one.source,
            ].append(one)  # fmt: skip
    rows = []
    for _, together in sorted(sums.items(), key=lambda pair: pair[0]):
        first = together[0]
        quantities = [one.quantity for one in together]
        known = [one for one in quantities if one is not None]
        rows.append(
            ReportRow(
                name=first.name,
                appendix=first.appendix,
                trade=first.trade,
                country=first.country,
                origin=first.origin,
                source=first.source,
                purpose=first.purpose,
                term=first.term,
                unit=first.unit,
                quantity=sum(known, Decimal()) if len(known) == len(quantities) else None,
                papers=list(dict.fromkeys(one.papers for one in together if one.papers)),
            )
        )
    return rows


def plain(quantity: Decimal | None) -> Decimal | int | None:
    """Without needless zeros: 3, 0.206."""
    if quantity is None:
        return None
    return int(quantity) if quantity == quantity.to_integral() else quantity.normalize()
