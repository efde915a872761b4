"""What an animal's name as written in the field means: the permit's own words first, then the house's."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from django.db.models import F

from inventory.names.models import CheckState, NameCheck, Taxon

from ..models import Scope
from ..rules.scopes import field_name, names_in
from .reading import PermitRead


@dataclass(frozen=True, slots=True)
class NameRead:
    """A written name: what stands for it, how it was found; without ``taxon`` the backbone is asked.

    ``asked`` is the name without a number beside it.
    """

    written: str
    asked: str
    taxon: Taxon | None
    why: str = ""

    @property
    def words(self) -> str:
        """ "“sea snail x3” is read as Liparis liparis (Chordata, Actinopterygii): the permit's line ...\""""
        if self.taxon is None:
            return ""
        above = ", ".join(part for part in (self.taxon.phylum, self.taxon.class_name) if part)
        kind = f" ({above})" if above else ""
        return f"“{self.written}” is read as {self.taxon.scientific_name}{kind}: {self.why}"


def read_field_names(written: Sequence[str], permits: Iterable[PermitRead]) -> dict[str, NameRead]:
    """What each written name stands for, by the name as written. One query."""
    by_permit = _names_of_lines(permits)
    asked = {name: field_name(name)[0] for name in written}
    by_house = _names_of_house(asked.values())
    found = {}
    for name, plain in asked.items():
        key = plain.lower()
        if key in by_permit:
            taxon, words = by_permit[key]
            found[name] = NameRead(name, plain, taxon, f"the permit's line “{words}”")
        elif len(by_house.get(key, ())) == 1:
            (taxon,) = by_house[key]
            how = "its name" if taxon.scientific_name.lower() == key else "what the house calls it"
            found[name] = NameRead(name, plain, taxon, how)
        else:
            found[name] = NameRead(name, plain, None)
    return found


def _names_of_lines(permits: Iterable[PermitRead]) -> dict[str, tuple[Taxon, str]]:
    """Names in the words of lines that mean one kind of animal; a name in two lines means neither."""
    found: dict[str, tuple[Taxon, str]] = {}
    twice: set[str] = set()
    for read in permits:
        for line in read.lines:
            members = read.members.get(line.number, [])
            if line.number not in read.links or read.links[line.number].scope != Scope.TAXON:
                continue
            if len(members) != 1 or members[0].taxon is None:
                continue
            for name in names_in(line.words):
                if name in found and found[name][0].pk != members[0].taxon_id:
                    twice.add(name)
                found.setdefault(name, (members[0].taxon, line.words))
    return {name: told for name, told in found.items() if name not in twice}


def _names_of_house(asked: Iterable[str]) -> dict[str, list[Taxon]]:
    """Taxa of the house by their scientific names and by the parts of their common names."""
    wanted = {name.lower() for name in asked}
    found: dict[str, list[Taxon]] = {}
    for taxon in Taxon.objects.filter(joined_into=None).order_by("id"):
        names = {taxon.scientific_name.lower(), *names_in(taxon.common_name)} - {""}
        for name in names & wanted:
            found.setdefault(name, []).append(taxon)
    return found


def open_names(taxa: Collection[int]) -> set[int]:
    """Those of these taxa whose name waits for a person, be there a suggestion or none. One query."""
    waiting = NameCheck.objects.filter(taxon__in=taxa, state=CheckState.TO_REVIEW)
    # A name that is asked again and that the backbone still accepts is no open one.
    waiting = waiting.exclude(name=F("taxon__scientific_name"))
    return set(waiting.values_list("taxon_id", flat=True))
