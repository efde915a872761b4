"""The fingerprint of a closing: two people with the same one hold the same figures."""

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

CONTENTS = "contents"


def fingerprint(balances: Mapping[int, int]) -> str:
    """SHA-256 in hexadecimal of ``cell:number`` lines in the order of the cells; zeros left out."""
    lines = (f"{cell}:{n}\n" for cell, n in sorted(balances.items()) if n)
    return hashlib.sha256("".join(lines).encode("ascii")).hexdigest()


def sha256(content: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def canonical(value: Any) -> bytes:
    """JSON with sorted keys, two spaces, UTF-8 and a line's end: the same value is the same bytes."""
    text = json.dumps(value, sort_keys=True, ensure_ascii=False, indent=2, default=str)
    return (text + "\n").encode()


def names_digest(names: Iterable[tuple[int, str, str]]) -> str:
    """SHA-256 of the names in use: (number of the taxon, name, authorship), in the taxa's order."""
    return sha256(canonical([list(name) for name in sorted(names)]))


def contents_problems(
    contents: bytes, balances: str, papers: Mapping[str, str], events: Mapping[int, str]
) -> list[str]:
    """What does not agree between a list of contents and what it lists; sentences.

    ``papers``: hashes by name; ``events``: the chain's hashes by event.
    """
    if not contents:
        return ["it has papers but no list of contents"]
    try:
        stated = json.loads(contents)
        problems = []
        if stated["balances"] != balances:
            problems.append("its list of contents names other balances")
        if stated["papers"] != dict(papers):
            problems.append("its list of contents names other papers")
        head = stated["events"]
        if head["last"] and events.get(head["last"]) != head["hash"]:
            problems.append(f"event {head['last']} was another when it was closed")
    except (ValueError, KeyError, TypeError):
        return ["its list of contents cannot be read"]
    return problems
