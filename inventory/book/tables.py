"""The tables of the book's pages."""

from collections.abc import Mapping, Sequence
from typing import Any

import django_tables2 as tables  # type: ignore[import-untyped]
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from .models import Lot
from .queries.lists import LivesHere
from .rules import words

_NUMBER = {"th": {"class": "num"}, "td": {"class": "num"}}


class LotTable(tables.Table):  # type: ignore[misc]
    """Lots with what they hold now. ``where_now`` is read for the lots of one page only."""

    caption = "Lots"
    row_header = "accession"

    accession = tables.Column(linkify=("lot", {"accession": tables.A("accession")}), verbose_name="Accession")
    animal = tables.Column(accessor="taxon", order_by="taxon__scientific_name", verbose_name="Animal")
    kind = tables.Column(orderable=False, verbose_name="Kind")
    held = tables.Column(attrs=_NUMBER, verbose_name="Held now")
    mfu = tables.Column(empty_values=(), orderable=False, attrs=_NUMBER, verbose_name="m.f.u")
    missing = tables.Column(empty_values=(), orderable=False, attrs=_NUMBER, verbose_name="of which missing")
    where = tables.Column(empty_values=(), orderable=False, verbose_name="Where")

    where_now: Mapping[int, Sequence[LivesHere]] = {}

    class Meta:
        order_by = "accession"
        empty_text = "No lot fits. Try fewer words, or tick “also lots that hold nothing now”."

    def render_animal(self, record: Lot) -> SafeString:
        name = format_html('<i class="name">{}</i>', record.taxon.scientific_name)
        parts = [
            part
            for part in (record.house_name and f"“{record.house_name}”", record.taxon.common_name)
            if part
        ]
        return format_html("{} {}", name, ", ".join(parts)) if parts else name

    def render_held(self, record: Lot) -> str:
        if any(row.hidden for row in self.where_now.get(record.pk, ())):
            return "you count it"
        return words.count_of(record.held, record.unit)

    def render_mfu(self, record: Lot) -> str:
        rows = self.where_now.get(record.pk, ())
        sums = [
            sum(getattr(row, sex) for row in rows)
            for sex in ("males", "females", "hermaphrodites", "unknown")
        ]
        return words.mfu(*sums)

    def render_missing(self, record: Lot) -> str:
        missing = sum(row.missing for row in self.where_now.get(record.pk, ()))
        return words.whole(missing) if missing else ""

    def render_where(self, record: Lot) -> SafeString:
        rows = self.where_now.get(record.pk, ())
        return format_html_join(
            ", ",
            '<span class="code"><a href="{}">{}</a> {}</span>',
            (
                (
                    reverse("place", args=[row.place_code]),
                    row.place_code,
                    words.whole(row.total) if len(rows) > 1 and not row.hidden else "",
                )
                for row in rows
            ),
        )


def page_of_lots(table: LotTable) -> list[Any]:
    """The lots that the page of ``table`` shows."""
    return [row.record for row in table.paginated_rows]
