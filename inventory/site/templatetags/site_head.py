"""What the head of every page says: whose house, who is signed in, where to go."""

from typing import Any

from django.template import Library
from django.template.context import RequestContext

from inventory.people.queries import NotAPersonError, person_of, roles_of, the_house
from inventory.people.rules.roles import in_words

from ..navigation import links

register = Library()


@register.simple_tag
def house_name() -> str:
    """The house's name; before it is set up, the program's."""
    house = the_house()
    return house.name if house else "Tidetally"


@register.inclusion_tag("site/head.html", takes_context=True)
def page_head(context: RequestContext) -> dict[str, Any]:
    """The navigation and the person's name and role; empty for a visitor who is not signed in."""
    request = context.get("request")
    user = getattr(request, "user", None)
    if request is None or user is None or not user.is_authenticated:
        return {}
    try:
        name = person_of(user).name
    except NotAPersonError:
        name = str(user)
    roles = roles_of(user)
    return {
        "name": name,
        "roles": in_words(roles, joined="and"),
        "links": links(roles, request.path),
        "request": request,
        "csrf_token": context.get("csrf_token"),
    }
