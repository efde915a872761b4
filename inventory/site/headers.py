"""What every answer carries and every request is held to, and Django has no setting for."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

Answers = Callable[[HttpRequest], HttpResponse]

# The camera reads labels, a field slip notes where it was, passkeys are asked for; nothing else is used.
PERMISSIONS = (
    "accelerometer=(), autoplay=(), camera=(self), display-capture=(), encrypted-media=(), "
    "fullscreen=(self), geolocation=(self), gyroscope=(), magnetometer=(), microphone=(), midi=(), "
    "payment=(), usb=(), publickey-credentials-get=(self), publickey-credentials-create=(self)"
)
# Twenty scans of a census at once; each file is bounded again where it is kept.
MOST_SENT = 120 * 1024 * 1024


def permissions_policy(get_response: Answers) -> Answers:
    """Says on every answer what of the machine a page may use, and that no other site may take it in."""

    def answered(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        response.setdefault("Permissions-Policy", PERMISSIONS)
        response.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        return response

    return answered


def bounded(get_response: Answers) -> Answers:
    """Turns away (413) what is larger than anything that is taken, before any of it is read."""

    def answered(request: HttpRequest) -> HttpResponse:
        stated = request.META.get("CONTENT_LENGTH") or "0"
        if not stated.isdecimal() or int(stated) > MOST_SENT:
            words = f"More than {MOST_SENT >> 20} MB at once is not taken: send fewer files together.\n"
            return HttpResponse(words, status=413, content_type="text/plain; charset=utf-8")
        return get_response(request)

    return answered
