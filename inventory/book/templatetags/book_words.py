"""The book's words in templates."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.template import Library
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from ..rules import words
from ..rules.days import day_in_words, days_in_words

register = Library()


@register.filter
def kind_words(kind: str) -> str:
    """``put_down`` as "put down"."""
    return words.KIND_WORDS.get(kind, kind)


@register.filter
def whole(n: int) -> str:
    """1234 as "1,234", a negative number with a true minus."""
    return words.whole(n)


@register.filter
def difference(n: int) -> SafeString:
    """A difference: sign first, colour second."""
    css = "more" if n > 0 else "less" if n < 0 else "same"
    return format_html('<span class="{}">{}</span>', css, words.signed(n))


@register.filter
def moment(value: datetime) -> SafeString:
    """An aware moment as the house's day and minute, in the form in which events state theirs."""
    local = timezone.localtime(value)
    return format_html(
        '<time datetime="{}">{}</time>', local.isoformat(timespec="minutes"), f"{local:%Y-%m-%d %H:%M}"
    )


@register.filter
def happened(text: str) -> str:
    """ISO 8601 as people read it: the T between day and time is left out, an interval says "to"."""
    return text.replace("T", " ").replace("/", " to ")


@register.filter
def moment_said(value: datetime) -> SafeString:
    """:func:`moment` on a page that is read as a whole: the day in words."""
    local = timezone.localtime(value)
    return format_html(
        '<time datetime="{}">{}</time>',
        local.isoformat(timespec="minutes"),
        f"{day_in_words(local.date())} {local:%H:%M}",
    )


@register.filter
def happened_said(text: str) -> str:
    """:func:`happened` on a page that is read as a whole: days in words."""
    return days_in_words(happened(text))


@register.filter
def days_said(text: str) -> str:
    """A sentence of the program's own, its days in words; what a person typed is shown as it was typed."""
    return days_in_words(text)


@register.filter
def ended(sentence: str) -> str:
    """A sentence with a full stop, unless it asks."""
    return sentence if sentence.endswith(("?", ".", "!")) else f"{sentence}."


@register.filter
def found_for(key: Any, found: Mapping[Any, Any]) -> Any:
    """What a mapping has for a key; None when it has nothing."""
    return found.get(key)


@register.filter
def unit(n: int, name: str) -> str:
    """ "1 animal", "3 animals", "2 colonies"."""
    return words.count_of(n, name)
