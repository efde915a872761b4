"""A verdict from an answer of the service: the same policy that judges the house's own backbone.

Only an exact match is given to that policy as "the name is there"; a variant only ever becomes a
name near the one typed. So nothing that the service calls a variant, a higher rank, ambiguous or
none can come out as accepted, and a caution of the house ("right elsewhere, wrong here"), a
qualifier or a homonym weighs as much as with a local release.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from .answer import Hit, Match, ServiceAnswer, Standing
from .decide import decide
from .distance import name_distance
from .parse import Parsed, Reading, parse
from .store import Found, Near
from .verdicts import UNSTATED, Caution, Choice, Classification, Usage, Verdict, VerdictKind


def opinion(
    typed: str,
    answer: ServiceAnswer,
    *,
    stated: Classification = UNSTATED,
    cautions: Mapping[str, Caution],
    release: str,
) -> Verdict:
    """The verdict on a typed line by the service's answer. ``release`` says who answered."""
    parsed = parse(typed)
    found = Found(release=release, cautions=cautions)
    verdict = _judged(parsed, answer, found, stated) if parsed.readings else decide(parsed, found)
    return replace(verdict, why=f"{verdict.why}; {_own_word(answer)}")


def names_in(answer: ServiceAnswer) -> set[str]:
    """The canonical names in an answer: those for which the house may have a caution."""
    usages = [hit.usage for hit in _hits(answer)]
    return {name for usage in usages for name in (usage.canonical_name, usage.target.canonical_name)}


def _judged(parsed: Parsed, answer: ServiceAnswer, found: Found, stated: Classification) -> Verdict:
    reading = parsed.readings[0]
    if answer.match is Match.EXACT:
        return _exact(parsed, reading, answer, found, stated)
    if answer.match is Match.VARIANT:
        return _variant(parsed, reading, answer, found, stated)
    if answer.match is Match.HIGHER_RANK:
        return _higher(parsed, reading, answer, found)
    homonyms = _same_named(reading, answer)
    if answer.match is Match.AMBIGUOUS or len(homonyms) > 1:
        why = f'several names answer to "{reading.canonical}" equally well: choose'
        hits = homonyms or _hits(answer)
        return _undecided(parsed, found, VerdictKind.AMBIGUOUS, why, [hit.usage for hit in hits])
    why = f'the service settled on no name for "{reading.canonical}"'
    return _undecided(parsed, found, VerdictKind.NOT_FOUND, why, [])


def _exact(
    parsed: Parsed, reading: Reading, answer: ServiceAnswer, found: Found, stated: Classification
) -> Verdict:
    same = _same_named(reading, answer)
    hit = answer.hit
    if hit is None or hit.usage.canonical_name != reading.canonical:
        other = hit.usage.canonical_name if hit else ""
        why = f'asked for "{reading.canonical}", the service took it for "{other}": another name'
        return _undecided(parsed, found, VerdictKind.AMBIGUOUS, why, [hit.usage] if hit else [])
    unclear = [one for one in same if one.standing is Standing.UNCLEAR]
    if unclear:
        why = f'"{reading.canonical}" is there, but not clearly as accepted or as a synonym of one name'
        return _undecided(parsed, found, VerdictKind.AMBIGUOUS, why, [one.usage for one in same])
    named = {reading.canonical: [one.usage for one in same]}
    return decide(_one_reading(parsed), replace(found, named=named), stated=stated)


def _variant(
    parsed: Parsed, reading: Reading, answer: ServiceAnswer, found: Found, stated: Classification
) -> Verdict:
    near = _nearest(reading, answer)
    if near:
        verdict = decide(_one_reading(parsed), replace(found, near={reading: near}), stated=stated)
        if verdict.verdict is not VerdictKind.NOT_FOUND:
            return verdict
    usages = [answer.hit.usage] if answer.hit else []
    if usages and usages[0].canonical_name == reading.canonical:
        why = f'the service calls "{reading.canonical}" a variant of the same letters: a person looks'
    else:
        why = f'the service offers a variant of "{reading.canonical}"; by our own measure or by what is '
        why += "stated it is another name, so it is only shown"
    return _undecided(parsed, found, VerdictKind.MISSPELLING, why, usages)


def _higher(parsed: Parsed, reading: Reading, answer: ServiceAnswer, found: Found) -> Verdict:
    usages = [answer.hit.usage] if answer.hit else []
    rank = usages[0].target.rank if usages else ""
    why = f'for "{reading.canonical}" the service found no more than a higher name'
    why += f" ({rank})" if rank else ""
    return replace(_undecided(parsed, found, VerdictKind.HIGHER_RANK, why, usages), rank=rank)


def _same_named(reading: Reading, answer: ServiceAnswer) -> list[Hit]:
    """Every usage of the very name: more than one are homonyms."""
    return [
        hit
        for hit in _hits(answer)
        if hit.match is Match.EXACT and hit.usage.canonical_name == reading.canonical
    ]


def _nearest(reading: Reading, answer: ServiceAnswer) -> list[Near]:
    """The variants nearest by our own measure; those whose standing is unclear lead nowhere."""
    words = tuple(reading.canonical.split(" "))
    near = [
        Near(hit.usage, apart)
        for hit in _hits(answer)
        if hit.match is Match.VARIANT
        and hit.standing is not Standing.UNCLEAR
        and (apart := name_distance(words, tuple(hit.usage.canonical_name.split(" "))))
        and sum(apart)
    ]
    least = min((one.total for one in near), default=0)
    return [one for one in near if one.total == least]


def _hits(answer: ServiceAnswer) -> list[Hit]:
    return [*([answer.hit] if answer.hit else []), *answer.alternatives]


def _one_reading(parsed: Parsed) -> Parsed:
    """The line with the one reading that was asked about."""
    return replace(parsed, readings=parsed.readings[:1], key="")


def _undecided(parsed: Parsed, found: Found, kind: VerdictKind, why: str, usages: Sequence[Usage]) -> Verdict:
    """A verdict without a name: a person decides."""
    targets = {usage.target.taxon_id: usage.target for usage in usages}
    choices = tuple(
        Choice(usage.canonical_name, usage.authorship, usage.rank, usage.classification.phylum)
        for usage in targets.values()
    )
    return Verdict(
        parsed.typed, kind, why, qualifier=parsed.qualifier, choices=choices, release=found.release
    )


def _own_word(answer: ServiceAnswer) -> str:
    """What the service itself said, for those who want to check us."""
    word = f"the service says {answer.match.value}"
    if answer.hit:
        usage = answer.hit.usage
        word += f" {usage.canonical_name} {usage.authorship}".rstrip()
    return f"{word} ({answer.note})" if answer.note else word
