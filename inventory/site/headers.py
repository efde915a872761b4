"""Headers that Django has no setting for."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

# The camera reads labels, a field slip notes where it was, passkeys are asked for; nothing else is used.
PERMISSIONS = (
    "accelerometer=(), autoplay=(), camera=(self), display-capture=(), encrypted-media=(), "
    "fullscreen=(self), geolocation=(self), gyroscope=(), magnetometer=(), microphone=(), midi=(), "
    "payment=(), usb=(), publickey-credentials-get=(self), publickey-credentials-create=(self)"
)


def permissions_policy(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Says on every answer what of the machine a page may use, and that no other site may take it in."""

    def answered(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        response.setdefault("Permissions-Policy", PERMISSIONS)
        response.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        return response

    return answered
