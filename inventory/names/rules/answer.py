"""Reads an answer of GBIF's match service into values of our own; it never guesses what is not said.

Two shapes are read: that of ``GET /v2/species/match`` (``usage``, ``acceptedUsage``,
``classification``, ``diagnostics``, ``synonym``; https://techdocs.gbif.org/en/openapi/v1/species)
and the flat one of v1. ``confidence`` is left out on purpose: it says how sure the service is of
its answer, not how good the match is (``NONE`` comes with 99 or 100).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from .parse import parse, storable
from .verdicts import Classification, Usage

# The service lists up to fifty; those further down have nothing in common with the name.
MOST_ALTERNATIVES = 20
_LONGEST = 300
_RANKS = ("kingdom", "phylum", "class", "order", "family", "genus")


class UnreadableAnswer(ValueError):
    """What came back is no answer that we know; the text says what was expected and what stood there."""


class Match(StrEnum):
    """How the service says it came to its answer."""

    EXACT = "EXACT"
    VARIANT = "VARIANT"
    HIGHER_RANK = "HIGHERRANK"
    AMBIGUOUS = "AMBIGUOUS"
    NONE = "NONE"


# v1 says FUZZY for what v2 calls VARIANT.
_MATCHES = {**{match.value: match for match in Match}, "FUZZY": Match.VARIANT}


class Standing(StrEnum):
    """What the checklist holds of a name."""

    ACCEPTED = "accepted"
    SYNONYM = "synonym"
    UNCLEAR = "unclear"


_ACCEPTED = {"ACCEPTED", "DOUBTFUL", "PROVISIONALLY_ACCEPTED"}
_SYNONYM = {
    "SYNONYM", "HETEROTYPIC_SYNONYM", "HOMOTYPIC_SYNONYM", "OBJECTIVE_SYNONYM", "SUBJECTIVE_SYNONYM",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Hit:
    """One name in the answer. Only a name whose standing is clear may be taken for accepted.

    Unclear are: a status that we do not know, none at all, one that leads to several names, a
    synonym whose accepted name is not given, and an answer that contradicts itself.
    """

    match: Match
    usage: Usage
    standing: Standing


@dataclass(frozen=True, slots=True)
class ServiceAnswer:
    """An answer as read: the name found, if any, and the others that the service considered."""

    match: Match
    hit: Hit | None = None
    alternatives: tuple[Hit, ...] = ()
    note: str = ""


def read_answer(data: object) -> ServiceAnswer:
    """Reads what the service sent, parsed from its JSON. Raises :class:`UnreadableAnswer`, nothing else."""
    if not isinstance(data, Mapping):
        raise UnreadableAnswer(f"expected an object, found {_kind(data)}")
    diagnostics = _mapping(data.get("diagnostics")) or data
    match = _match(diagnostics.get("matchType"))
    hit = None if match is Match.NONE else _hit(data, match)
    if hit is None and match not in (Match.NONE, Match.AMBIGUOUS):
        raise UnreadableAnswer(f"the answer says {match.value} and names no name")
    others = diagnostics.get("alternatives")
    listed = others if isinstance(others, list) else []
    alternatives = (_alternative(one) for one in listed[:MOST_ALTERNATIVES])
    return ServiceAnswer(
        match=match,
        hit=hit,
        alternatives=tuple(one for one in alternatives if one),
        note=_text(diagnostics.get("note")),
    )


def as_json(answer: ServiceAnswer) -> dict[str, Any]:
    """The answer in the v2 shape, reduced to what is read; :func:`read_answer` reads it back."""
    kept = _hit_as_json(answer.hit) if answer.hit else {}
    kept["diagnostics"] = {
        "matchType": answer.match.value,
        "note": answer.note,
        "alternatives": [
            {**_hit_as_json(one), "diagnostics": {"matchType": one.match.value}}
            for one in answer.alternatives
        ],
    }
    return kept


def _hit_as_json(hit: Hit) -> dict[str, Any]:
    usage, known = hit.usage, hit.usage.classification
    names = (known.kingdom, known.phylum, known.class_name, known.order, known.family, known.genus)
    kept: dict[str, Any] = {
        "usage": {**_usage_as_json(usage), "status": usage.status.upper()},
        "classification": [
            {"rank": rank.upper(), "name": name} for rank, name in zip(_RANKS, names, strict=True) if name
        ],
        "synonym": hit.standing is Standing.SYNONYM,
    }
    if usage.accepted:
        kept["acceptedUsage"] = _usage_as_json(usage.accepted)
    if hit.standing is Standing.UNCLEAR:
        # A word of ours: what made it unclear may lie in keys that are not kept.
        kept["usage"]["standing"] = Standing.UNCLEAR.value
    return kept


def _usage_as_json(usage: Usage) -> dict[str, str]:
    return {
        "key": usage.taxon_id,
        "canonicalName": usage.canonical_name,
        "authorship": usage.authorship,
        "rank": usage.rank.upper(),
    }


def _match(stated: object) -> Match:
    if not isinstance(stated, str) or not stated:
        raise UnreadableAnswer("the answer does not say how it matched (no matchType)")
    if stated not in _MATCHES:
        known = ", ".join(_MATCHES)
        raise UnreadableAnswer(f"expected a matchType of {known}, found “{_text(stated)[:40]}”")
    return _MATCHES[stated]


def _alternative(data: object) -> Hit | None:
    """One alternative; none when it cannot be read, for it decides nothing alone."""
    row = _mapping(data)
    stated = (_mapping(row.get("diagnostics")) or row).get("matchType")
    match = _MATCHES.get(stated) if isinstance(stated, str) else None
    return _hit(row, match) if match else None


def _hit(data: Mapping[str, Any], match: Match) -> Hit | None:
    usage = _mapping(data.get("usage")) or data
    status = _text(usage.get("status")).upper()
    classification = _classification(data)
    own = _usage(usage, status.lower(), classification)
    if own is None:
        return None
    accepted = _accepted(data, own)
    standing = _standing(status, data.get("synonym"), accepted)
    if usage.get("standing") == Standing.UNCLEAR.value:
        standing = Standing.UNCLEAR
    if standing is Standing.SYNONYM and accepted:
        own = Usage(
            own.taxon_id, own.canonical_name, own.authorship, own.rank, own.status, classification,
            own.remarks, accepted,
        )  # fmt: skip
    return Hit(match, own, standing)


def _standing(status: str, synonym: object, accepted: Usage | None) -> Standing:
    if status in _ACCEPTED and not accepted and synonym in (None, False):
        return Standing.ACCEPTED
    if status in _SYNONYM and accepted and synonym in (None, True):
        return Standing.SYNONYM
    return Standing.UNCLEAR


def _usage(row: Mapping[str, Any], status: str, classification: Classification) -> Usage | None:
    full = _text(row.get("name")) or _text(row.get("scientificName"))
    canonical, author = _text(row.get("canonicalName")), _text(row.get("authorship"))
    if not canonical or not author:
        readings = parse(full).readings
        canonical = canonical or (readings[0].canonical if readings else "")
        author = author or (readings[0].authorship if readings else "")
    if not canonical:
        return None
    provisional = status == "provisionally_accepted"
    return Usage(
        taxon_id=_key(row) or f"{canonical} {author}",
        canonical_name=canonical,
        authorship=author,
        rank=_text(row.get("rank")).lower(),
        status=status,
        classification=classification,
        remarks="the checklist accepts it provisionally" if provisional else "",
    )


def _accepted(data: Mapping[str, Any], own: Usage) -> Usage | None:
    """The accepted usage of a synonym; in v1 its name stands only in the classification."""
    stated = _mapping(data.get("acceptedUsage"))
    if stated:
        accepted = _usage(stated, "accepted", own.classification)
    elif "usage" in data or not (data.get("synonym") is True or own.status.upper() in _SYNONYM):
        return None
    else:
        rank = "genus" if own.rank == "genus" else "species"
        name = _text(data.get(rank))
        key = str(data.get("acceptedUsageKey") or data.get(f"{rank}Key") or "")
        row = {"canonicalName": name, "name": name, "usageKey": key, "rank": rank}
        accepted = _usage(row, "accepted", own.classification)
    same = accepted is None or accepted.taxon_id == own.taxon_id
    return None if same else accepted


def _classification(data: Mapping[str, Any]) -> Classification:
    nodes = data.get("classification")
    if isinstance(nodes, list):
        named = dict(_ranked(nodes))
    else:
        named = {rank: _text(data.get(rank)) for rank in _RANKS}
    return Classification(*(named.get(rank, "") for rank in _RANKS))


def _ranked(nodes: Iterable[object]) -> Iterable[tuple[str, str]]:
    for node in nodes:
        row = _mapping(node)
        yield _text(row.get("rank")).lower(), _text(row.get("name"))


def _key(row: Mapping[str, Any]) -> str:
    key = row.get("key") or row.get("usageKey")
    return _text(str(key)) if isinstance(key, (str, int)) else ""


def _mapping(value: object) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def _text(value: object) -> str:
    """A text that a database keeps, on one line; blank for anything else."""
    return storable(" ".join(value.split()))[:_LONGEST] if isinstance(value, str) else ""


def _kind(value: object) -> str:
    kinds = {list: "a list", str: "a text", type(None): "nothing"}
    return kinds.get(type(value), "something else")
