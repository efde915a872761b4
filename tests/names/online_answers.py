"""Answers of the match service, written by hand in the shape of ``GET /v2/species/match``.

The shape is that of GBIF's reference (https://techdocs.gbif.org/en/openapi/v1/species); keys,
confidences and notes are made up, names are real ones where a test needs a real name. None of
these was recorded from the service.
"""

from typing import Any

ANIMALS = [
    {"key": "N", "name": "Animalia", "rank": "KINGDOM"},
    {"key": "CH2", "name": "Chordata", "rank": "PHYLUM"},
]


def usage(
    name: str, authorship: str = "", *, key: str = "", rank: str = "SPECIES", status: str = "ACCEPTED"
) -> Any:
    """One name as the service lists it."""
    return {
        "key": key or name.replace(" ", "")[:6],
        "name": f"{name} {authorship}".strip(),
        "canonicalName": name,
        "authorship": authorship,
        "rank": rank,
        "code": "ZOOLOGICAL",
        "status": status,
    }


def answer(
    match: str,
    found: Any = None,
    *,
    accepted: Any = None,
    confidence: int = 99,
    note: str = "",
    alternatives: list[Any] | None = None,
    classification: list[Any] | None = None,
) -> dict[str, Any]:
    """A whole answer."""
    whole: dict[str, Any] = {
        "diagnostics": {"matchType": match, "confidence": confidence, "issues": [], "timeTaken": 3},
        "synonym": accepted is not None,
    }
    if found:
        whole |= {"usage": found, "classification": ANIMALS if classification is None else classification}
    if accepted:
        whole["acceptedUsage"] = accepted
    if note:
        whole["diagnostics"]["note"] = note
    if alternatives:
        whole["diagnostics"]["alternatives"] = alternatives
    return whole


ACCEPTED = answer("EXACT", usage("Gadus morhua", "Linnaeus, 1758"))
SYNONYM = answer(
    "EXACT",
    usage("Gobiusculus flavescens", "(Fabricius, 1779)", status="SYNONYM"),
    accepted=usage("Pomatoschistus flavescens", "(Fabricius, 1779)"),
)
MISSPELT = answer("VARIANT", usage("Gadus morhua", "Linnaeus, 1758"), confidence=95)
HIGHER = answer("HIGHERRANK", usage("Gadus", "Linnaeus, 1758", rank="GENUS"), confidence=97)
NONE = answer("NONE", confidence=100, note="No match because of too little confidence")
HOMONYMS = answer(
    "NONE",
    confidence=100,
    note="Multiple equal matches for Dasyatis nulla",
    alternatives=[
        answer("EXACT", usage("Dasyatis nulla", "Aal, 1901", key="A")),
        answer("EXACT", usage("Dasyatis nulla", "Bet, 1902", key="B")),
    ],
)
AMBIGUOUS = answer("AMBIGUOUS", alternatives=HOMONYMS["diagnostics"]["alternatives"])
# The flat shape of v1, of a synonym: the accepted name stands in the classification only.
V1_SYNONYM = {
    "usageKey": 11, "acceptedUsageKey": 12, "scientificName": "Gobiusculus flavescens (Fabricius, 1779)",
    "canonicalName": "Gobiusculus flavescens", "rank": "SPECIES", "status": "SYNONYM", "confidence": 98,
    "matchType": "EXACT", "synonym": True, "kingdom": "Animalia", "phylum": "Chordata",
    "genus": "Pomatoschistus", "species": "Pomatoschistus flavescens", "speciesKey": 12,
}  # fmt: skip
V1_FUZZY = {
    "usageKey": 1, "scientificName": "Gadus morhua Linnaeus, 1758", "canonicalName": "Gadus morhua",
    "rank": "SPECIES", "status": "ACCEPTED", "confidence": 95, "matchType": "FUZZY", "synonym": False,
    "kingdom": "Animalia", "phylum": "Chordata", "genus": "Gadus", "species": "Gadus morhua",
}  # fmt: skip
