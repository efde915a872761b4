"""What stands beside the files of the whole book, so that a reader can tell whether all of it is there."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

from ..rules.shapes import Form

NAME = "manifest.json"
DICTIONARY = "dictionary.csv"


@dataclass(frozen=True, slots=True)
class Wrote:
    """One table as it was written. ``file`` and ``sha256`` are blank for a sheet of a workbook."""

    table: str
    rows: int
    file: str = ""
    sha256: str = ""
    size: int = 0
    left_out: tuple[tuple[str, str], ...] = ()
    cut: int = 0


@dataclass(slots=True)
class Manifest:
    """``as_known_at`` is the moment of the book that was read; ``head`` the last event's number and hash."""

    form: Form
    as_known_at: datetime
    head: str
    house: str
    tables: list[Wrote] = field(default_factory=list)
    not_out: Sequence[tuple[str, str]] = ()
    others: dict[str, str] = field(default_factory=dict)
    """Other files, by name: their SHA-256."""

    @property
    def rows(self) -> int:
        return sum(one.rows for one in self.tables)

    def facts(self) -> list[tuple[str, str]]:
        return [
            ("house", self.house),
            ("form", self.form.value),
            ("as known at (UTC)", self.as_known_at.astimezone(UTC).isoformat()),
            ("head of the chain", self.head),
            ("rows", str(self.rows)),
        ]

    def as_json(self) -> bytes:
        told = {
            "house": self.house,
            "form": self.form.value,
            "as_known_at": self.as_known_at.astimezone(UTC).isoformat(),
            "head_of_chain": self.head,
            "rows": self.rows,
            "tables": [
                {
                    "table": one.table,
                    "rows": one.rows,
                    **({"file": one.file, "sha256": one.sha256, "bytes": one.size} if one.file else {}),
                    **({"columns_left_out": dict(one.left_out)} if one.left_out else {}),
                    **({"texts_cut": one.cut} if one.cut else {}),
                }
                for one in self.tables
            ],
            "tables_left_out": dict(self.not_out),
            "other_files": self.others,
        }
        return json.dumps(told, ensure_ascii=False, indent=1).encode() + b"\n"
