"""The permits' words in templates."""

from typing import Any

from django.template import Library
from django.urls import reverse

register = Library()


@register.simple_tag
def url_of(thing: Any) -> str:
    """The address of the page that a check, a cause or a question names: ``page`` with ``about``."""
    return reverse(thing.page, args=thing.about)
