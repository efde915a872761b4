"""What came from outside, as every database keeps it."""

import json
import re
from typing import Any

# An escape of JSON as Python writes it: a pair of surrogates is one sign, half a pair is none.
_ESCAPE = re.compile(r"\\(?:ud[89ab][0-9a-f]{2}\\ud[c-f][0-9a-f]{2}|u[0-9a-f]{4}|.)")
_HALF = re.compile(r"\\ud[89a-f][0-9a-f]{2}")


def storable(value: Any) -> Any:
    """A value of JSON without null characters and with U+FFFD for half a pair of surrogates,
    in names and in values: neither is text that PostgreSQL keeps (RFC 8259, section 8.2, allows both)."""
    return json.loads(_ESCAPE.sub(_kept, json.dumps(value)))


def _kept(escape: "re.Match[str]") -> str:
    said = escape.group()
    if said == "\\u0000":
        return ""
    return "\\ufffd" if _HALF.fullmatch(said) else said
