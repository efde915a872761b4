"""The page that offers every report."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from django.urls import reverse

from inventory.people.rules.roles import Role

from ..rules.file_forms import MEDIA
from .layouts import LAYOUTS


@dataclass(frozen=True, slots=True)
class IndexRow:
    """One report: where its page is, what it tells, and its files."""

    letter: str
    words: str
    about: str
    page: str
    files: Sequence[tuple[str, str]]


_URLS: Mapping[str, str] = {"xlsx": "report_workbook", "pdf": "report_pdf", "csv": "report_csv"}


def index_rows(roles: Collection[Role]) -> list[IndexRow]:
    """What ``roles`` may read, by its letter; a report of one thing has its files on its page."""
    rows = []
    for layout in sorted(LAYOUTS.values(), key=lambda one: one.letter):
        if layout.roles and not set(layout.roles) & set(roles):
            continue
        files = [] if layout.subject else [(form, reverse(_URLS[form], args=[layout.name])) for form in MEDIA]
        page = reverse("report", args=[layout.name])
        rows.append(IndexRow(layout.letter, layout.words, layout.about, page, files))
    return rows
