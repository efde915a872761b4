"""Links of permit lines whose names have changed: the words stay, the link is looked at by a person."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from inventory.names.queries.verdicts import verdicts_for
from inventory.names.rules.match import Asked
from inventory.names.rules.verdicts import VerdictKind

from ..models import LineLink, LinkMember, Permit, PermitLine
from .reading import newest_links


@dataclass(frozen=True, slots=True)
class LinkToReview:
    """One name of a link that is no longer what it was: what the line says, what the name is now."""

    permit: Permit
    line_number: int
    words: str
    linked: str
    now: str
    why: str


def links_to_review(permits: Sequence[Permit] | None = None) -> list[LinkToReview]:
    """Every linked name that the house or the backbone in use no longer has as it was linked.

    A constant number of queries. Without a backbone names of groups cannot be asked and are left alone.
    """
    links = LineLink.objects.select_related("permit").order_by("id")
    if permits is not None:
        links = links.filter(permit__in=permits)
    newest = newest_links(links)
    by_id = {link.pk: link for link in newest.values()}
    members = list(LinkMember.objects.select_related("taxon").filter(link__in=by_id))
    verdicts = _asked([member for member in members if member.taxon is None])
    words = _words(by_id.values())
    found = []
    for member in members:
        now, why = _now(member, verdicts)
        link = by_id[member.link_id]
        told = words.get((link.permit_id, link.line_number))
        if why and told is not None:
            found.append(LinkToReview(link.permit, link.line_number, told, member.name, now, why))
    return found


def _words(links: Iterable[LineLink]) -> dict[tuple[int, int], str]:
    """The newest words of each line, by permit and number."""
    permits = {link.permit_id for link in links}
    lines = PermitLine.objects.filter(version__permit__in=permits).order_by("version__number")
    return {
        (permit, number): words
        for permit, number, words in lines.values_list("version__permit_id", "number", "words")
    }


def _asked(members: Sequence[LinkMember]) -> dict[str, tuple[str, str]]:
    """What the backbone says of names: the name in use now, and why it is not the one that was linked."""
    names = sorted({member.name for member in members})
    if not names:
        return {}
    release, verdicts = verdicts_for([Asked(name) for name in names])
    if release is None:
        return {}
    told = {}
    for name, verdict in zip(names, verdicts, strict=True):
        stands = verdict.verdict is VerdictKind.ACCEPTED or (
            verdict.verdict in (VerdictKind.HIGHER_RANK, VerdictKind.GENUS_ONLY)
            and verdict.name in ("", name)
        )
        if not stands:
            told[name] = (verdict.name, verdict.why or f"{release} answers: {verdict.verdict.value}")
    return told


def _now(member: LinkMember, verdicts: dict[str, tuple[str, str]]) -> tuple[str, str]:
    taxon = member.taxon
    if taxon is None:
        return verdicts.get(member.name, ("", ""))
    if taxon.joined_into_id is not None:
        return taxon.scientific_name, "the house found it to be another kind of animal"
    if taxon.scientific_name != member.name:
        return taxon.scientific_name, "the house calls it so since the link was made"
    return "", ""
