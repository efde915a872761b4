"""Tables of the census pages."""

import django_tables2 as tables  # type: ignore[import-untyped]
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from .queries.progress import SheetProgress

_NUMBER = {"th": {"class": "num"}, "td": {"class": "num"}}


class SheetTable(tables.Table):  # type: ignore[misc]
    """The sheets of a census, with their state in words."""

    caption = "Sheets"
    row_header = "number"

    number = tables.Column(accessor="sheet__number", verbose_name="Sheet")
    place = tables.Column(accessor="sheet__place__code", verbose_name="Place")
    state = tables.Column(accessor="sheet__state", verbose_name="State")
    counters = tables.Column(verbose_name="Counters")
    counted = tables.Column(attrs=_NUMBER, verbose_name="Counted")
    uncounted = tables.Column(attrs=_NUMBER, verbose_name="Uncounted")
    days_out = tables.Column(attrs=_NUMBER, verbose_name="Days out", default="")
    late = tables.Column(verbose_name="Late")

    class Meta:
        orderable = False
        empty_text = "No sheet yet."

    def render_number(self, value: str) -> SafeString:
        return format_html('<a class="code" href="{}">{}</a>', reverse("sheet", args=[value]), value)

    def render_place(self, value: str, record: SheetProgress) -> SafeString:
        return format_html('<span class="code">{}</span> {}', value, record.sheet.place.name)

    def render_state(self, value: str) -> SafeString:
        return format_html('<span class="tag">{}</span>', value)

    def render_counters(self, value: str, record: SheetProgress) -> str:
        return f"{value}; again: {record.again}" if record.again else value

    def render_late(self, value: str) -> SafeString:
        return format_html("<strong>{}</strong>", value)

    def render_counted(self, record: SheetProgress) -> str:
        return f"{record.counted} of {record.lines}"
