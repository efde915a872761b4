"""Says in a template whether the reader may open a page, so that no link ends at a refusal."""

from django.contrib.auth.models import AnonymousUser
from django.template import Library
from django.template.context import RequestContext

from ..access import opens

register = Library()


@register.simple_tag(takes_context=True)
def may_open(context: RequestContext, url: str) -> bool:
    """True when the roles of who asks open ``url``; False without an address."""
    request = context.get("request")
    return bool(url) and opens(getattr(request, "user", AnonymousUser()), url)
