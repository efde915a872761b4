"""The tank side's pages, its service worker and its manifest.

These pages hold nothing of the book and nobody's name: they are the same for everybody, so that a
device can keep them, and are open without a sign-in. What they show comes over the programming
interface, which asks for the device's token.
"""

from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from .readers.shell_files import digest, static_hashes, version_of
from .rules.pages import PAGES, TankPage

WORKER_URL = "/tank/sw.js"
MANIFEST_URL = "/tank/manifest.webmanifest"


@never_cache
@require_safe
def page(request: HttpRequest, shown: TankPage) -> HttpResponse:
    """One page of the tank side, empty of data."""
    return HttpResponse(_rendered(shown))


@never_cache
@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker with the hashes of what it keeps: one changed file makes another worker.

    ``?classic`` leaves out the module that sends in the background, for browsers whose workers
    cannot import; those know no Background Sync either.
    """
    kept = static_hashes() | {page.url: digest(_rendered(page).encode()) for page in PAGES}
    context = {
        "version": version_of(kept.items()),
        "kept": kept,
        "pages": [page.url for page in PAGES],
        "outbox": "" if "classic" in request.GET else static("tankside/outbox.js"),
    }
    response = render(request, "tankside/app_worker.js", context, content_type="text/javascript")
    response.headers["Service-Worker-Allowed"] = "/tank/"
    return response


@never_cache
@require_safe
def manifest(request: HttpRequest) -> JsonResponse:
    """The web app manifest: installable, upright, starts at the chooser."""
    return JsonResponse(
        {
            "id": "/tank/",
            "name": "Tidetally at the tank",
            "short_name": "Tank side",
            "description": "Deaths, moves and young, written down at the tank, with or without signal.",
            "lang": "en-GB",
            "start_url": "/tank/",
            "scope": "/tank/",
            "display": "standalone",
            "orientation": "portrait",
            "background_color": "#ffffff",
            "theme_color": "#0b3a4a",
            "icons": [
                {"src": static("tankside/icon.svg"), "sizes": "any", "type": "image/svg+xml"},
                *_png("icon", "any", 192, 512),
                *_png("icon-maskable", "maskable", 512),
            ],
        },
        content_type="application/manifest+json",
    )


def _png(name: str, purpose: str, *widths: int) -> list[dict[str, str]]:
    return [
        {
            "src": static(f"tankside/{name}-{width}.png"),
            "sizes": f"{width}x{width}",
            "type": "image/png",
            "purpose": purpose,
        }
        for width in widths
    ]


def _rendered(shown: TankPage) -> str:
    """Rendered without the request: nothing of a visitor may end up in what a device keeps."""
    context: dict[str, Any] = {
        "shown": shown,
        "navigation": [page for page in PAGES if page.words],
        "worker": WORKER_URL,
        "manifest": MANIFEST_URL,
    }
    return render_to_string(shown.template, context)
