"""The pages in the head of every page, named after what people come to do."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.urls import reverse

from inventory.people.rules.roles import Role


@dataclass(frozen=True, slots=True)
class Entry:
    """One page of the navigation. ``roles`` empty: everybody who is signed in."""

    url_name: str
    words: str
    roles: frozenset[Role] = frozenset()


ENTRIES = (
    Entry("today", "Today"),
    Entry("tank", "Tank side"),
    Entry("lots", "Find animals"),
    Entry("places", "Places"),
    Entry("names_review", "Check names"),
    Entry("permits", "Permits"),
    Entry("census_list", "Census"),
    Entry("change", "Population change"),
    Entry("populations", "Populations"),
    Entry("reports", "Reports"),
    Entry("inspection", "Inspection", frozenset({Role.REGISTRAR, Role.CURATOR, Role.INSPECTOR})),
    Entry("devices", "Devices", frozenset({Role.REGISTRAR})),
    Entry("machine", "Machine", frozenset({Role.ADMINISTRATOR})),
    Entry("people", "People", frozenset({Role.REGISTRAR, Role.ADMINISTRATOR, Role.CURATOR, Role.INSPECTOR})),
)


@dataclass(frozen=True, slots=True)
class Link:
    """A navigation entry as one page shows it. ``here``: the page is this one."""

    url: str
    words: str
    here: bool


def links(roles: Iterable[Role], path: str) -> list[Link]:
    """The entries that ``roles`` may open, in order."""
    shown = []
    for entry in ENTRIES:
        if entry.roles and entry.roles.isdisjoint(roles):
            continue
        url = reverse(entry.url_name)
        shown.append(Link(url, entry.words, here=path == url))
    return shown
