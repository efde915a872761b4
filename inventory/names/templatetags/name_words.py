"""Scientific names in templates."""

import re

from django.template import Library
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from ..rules.italics import Italics, italic_part

register = Library()

_WHOLE = re.compile(r"\b(?:\d{4}-\d{2}-\d{2}|[A-Z]{2,}-\w+(?:-\w+)*)\b")
"""A day, or the code of a census or a sheet."""


@register.filter
def scientific(name: str) -> SafeString:
    """A name as it is printed: genus and species in italics, anything else upright."""
    slanted = italic_part(name)
    made = f'<i class="name">{escape(slanted)}</i>{escape(name[len(slanted) :])}' if slanted else escape(name)
    return mark_safe(made)  # escaped above


@register.filter
def named(text: str, italics: Italics | None) -> SafeString:
    """A sentence with its scientific names in italics, and with days and codes that do not break at their
    hyphens. ``italics`` knows the names of the page."""
    pieces = italics.cut(text) if italics else [(text, False)]
    made = (f'<i class="name">{unbroken(p)}</i>' if slanted else unbroken(p) for p, slanted in pieces)
    return mark_safe("".join(made))


@register.filter
def unbroken(text: str) -> SafeString:
    """Words whose days and codes do not break at their hyphens, on a narrow page."""
    return mark_safe(_WHOLE.sub(r'<span class="day">\g<0></span>', escape(text)))  # escaped before
