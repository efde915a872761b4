"""The hash chain: every event carries the hash of the one before, so that a changed or missing row shows.

SHA-256 (FIPS 180-4) over the previous hash and a canonical JSON text of the event with its flows.
"""

import hashlib
import json
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from .ranges import Bounds
from .running import FlowDraft

GENESIS = "0" * 64

# The columns of an event that its hash covers.
EVENT_FIELDS = (
    "id",
    "identifier",
    "ref",
    "kind",
    "happened",
    "effective_at",
    "entered_at",
    "entered_by_id",
    "recorded_at",
    "approved_by_id",
    "device",
    "party",
    "permit_number",
    "cause",
    "reason",
    "evidence",
    "note",
    "reverses_id",
    "content_hash",
)


def event_hash(previous: str, event: Any, flows: Iterable[FlowDraft], bounds: Bounds | None = None) -> str:
    """The hash of one event; ``event`` is anything with the attributes :data:`EVENT_FIELDS`.

    ``bounds`` are those that were stated for its number. An event without any has the hash that it had
    before there were ranges, and one that is given some later, or loses them, has another.
    """
    stated: list[Any] = [previous, *(_plain(getattr(event, name)) for name in EVENT_FIELDS)]
    stated.append([[*flow.from_cell, *flow.to_cell, flow.n] for flow in flows])
    if bounds is not None:
        stated.append(list(bounds))
    text = json.dumps(stated, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(value: Any) -> str | int | None:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    return str(value) if isinstance(value, UUID) else value
