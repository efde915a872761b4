"""The programming interface, version 1: each room brings its own routes; described by OpenAPI.

A room joins with a module ``api`` that holds a ``router``, by its name in ``ROUTERS``. Who may ask
is each route's own business: a device by its token, a person by the sign-in. A change that would
break a caller is a new version beside this one.
"""

from django.utils.module_loading import import_string
from ninja import NinjaAPI

# (path below /api/v1/, the router's name)
ROUTERS: tuple[tuple[str, str], ...] = ()

api = NinjaAPI(
    title="Tidetally",
    version="1",
    description="Entries from the tank side, and what a device needs to make them.",
    docs_url=None,  # the page that comes with the library loads scripts from an outside address
    urls_namespace="api-v1",
)
for _path, _name in ROUTERS:
    api.add_router(_path, import_string(_name))
