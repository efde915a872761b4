"""A second opinion from GBIF's match service. Optional: nothing in the house waits for it.

The only module that speaks with GBIF, through pygbif (``GET /v2/species/match``, checklist: the
Catalogue of Life extended release). GBIF's *confidence* is no measure of quality (NONE comes with
99 or 100), so it is not shown; the kind of match and GBIF's own note are.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from .rules.parse import clean

# Seconds to wait for the connection, and for each piece of the answer.
PATIENCE = (3.05, 8.0)

_KINDS = {
    "EXACT": "the very name",
    "VARIANT": "a name like it",
    "FUZZY": "a name like it",
    "HIGHERRANK": "only a higher name",
    "AMBIGUOUS": "several names, undecided",
    "NONE": "no name",
}


class GbifError(Exception):
    """GBIF gave no answer; the text is for people."""


@dataclass(frozen=True, slots=True)
class SecondOpinion:
    """What GBIF says of a name. ``accepted`` is blank when the name itself is accepted."""

    asked: str
    match: str
    name: str = ""
    status: str = ""
    rank: str = ""
    accepted: str = ""
    classification: tuple[tuple[str, str], ...] = ()
    note: str = ""


def second_opinion(typed: str, *, patience: tuple[float, float] = PATIENCE) -> SecondOpinion:
    """Asks GBIF about a name of an animal. Raises :class:`GbifError`."""
    # Importing pygbif costs 0.7 s and configures logging: only who asks pays.
    import requests
    from pygbif import species  # type: ignore[import-untyped]
    from pygbif.gbifutils import NoResultException  # type: ignore[import-untyped]

    asked = clean(typed)
    if not asked:
        raise GbifError("There is no name to ask GBIF about.")
    try:
        answer = species.name_backbone(
            scientificName=asked, kingdom="Animalia", verbose=True, timeout=patience
        )
    except requests.Timeout as error:
        raise GbifError(f"GBIF did not answer within {patience[1]:g} seconds. Try again later.") from error
    except requests.ConnectionError as error:
        raise GbifError("GBIF cannot be reached from here: there is no way to the network.") from error
    except requests.HTTPError as error:
        status = error.response.status_code if error.response is not None else "an error"
        raise GbifError(f"GBIF answered with status {status}. Try again later.") from error
    except (requests.RequestException, NoResultException, ValueError) as error:
        raise GbifError("GBIF's answer cannot be read. Try again later.") from error
    return _opinion(asked, answer)


def _opinion(asked: str, answer: Any) -> SecondOpinion:
    if not isinstance(answer, Mapping):
        raise GbifError("GBIF's answer cannot be read. Try again later.")
    usage = answer.get("usage") or {}
    accepted = answer.get("acceptedUsage") or {}
    diagnostics = answer.get("diagnostics") or {}
    kind = str(diagnostics.get("matchType") or "NONE")
    return SecondOpinion(
        asked=asked,
        match=_KINDS.get(kind, kind.lower()),
        name=str(usage.get("name") or ""),
        status=str(usage.get("status") or "").lower(),
        rank=str(usage.get("rank") or "").lower(),
        accepted=str(accepted.get("name") or ""),
        classification=tuple(
            (str(node.get("rank") or "").lower(), str(node.get("name") or ""))
            for node in answer.get("classification") or ()
        ),
        note=str(diagnostics.get("note") or ""),
    )
