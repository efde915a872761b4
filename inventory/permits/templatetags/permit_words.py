"""The permits' words in templates."""

from typing import Any

from django.template import Library
from django.urls import reverse

from ..rules.checks import without_position

register = Library()


@register.simple_tag
def url_of(thing: Any) -> str:
    """The address of the page that a check, a cause or a question names: ``page`` with ``about``."""
    return reverse(thing.page, args=thing.about)


@register.filter
def said_to(words: str, exact: bool) -> str:
    """What is said of a case: whole to those who may know the place, without it to others."""
    return words if exact else without_position(words)
