"""A statement about a line as it is kept while it waits for approval, and read back."""

from collections.abc import Mapping
from dataclasses import asdict, fields
from datetime import date
from typing import Any

from inventory.book.rules.drafts import Numbers
from inventory.book.rules.kinds import EventKind

from .settling import Settling
from .words import How

_READ: Mapping[str, Any] = {
    "how": How,
    "kind": EventKind,
    "last_seen": date.fromisoformat,
    "due": date.fromisoformat,
    "accessions": tuple,
    "numbers": lambda columns: Numbers(**columns),
}


def kept(settling: Settling) -> dict[str, Any]:
    """Plain values for a database, of what is stated only."""
    empty = asdict(Settling(how=settling.how))
    stated = {name: value for name, value in asdict(settling).items() if value != empty[name]}
    stated["how"] = settling.how.value
    return {name: _plain(value) for name, value in stated.items()}


def read_back(stated: Mapping[str, Any]) -> Settling:
    """The statement as it was; what it did not say is as if it had been left empty."""
    known = {one.name for one in fields(Settling)}
    return Settling(**{name: _READ.get(name, _same)(stated[name]) for name in stated if name in known})


def _plain(value: Any) -> Any:
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, EventKind):
        return value.value
    return list(value) if isinstance(value, tuple) else value


def _same(value: Any) -> Any:
    return value
