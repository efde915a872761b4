"""Pages of devices and codes: the registrar lets devices in, everybody chooses their own code."""

import segno
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from inventory.doors import clock

from ..access import person_of, requires
from ..actions import codes
from ..actions import devices as actions
from ..forms import CodeForm, DeviceForm
from ..models import Device, DeviceScope, Person
from ..queries import devices as queries
from ..rules.devices import CODE_LASTS
from ..rules.roles import Role

# Who may enter at the tank side or count there.
WITH_A_CODE = (
    Role.AQUARIST,
    Role.TYPIST,
    Role.REGISTRAR,
    Role.CURATOR,
    Role.VETERINARIAN,
    Role.COUNTER,
)


@require_http_methods(["GET", "HEAD", "POST"])
@requires(Role.REGISTRAR)
def devices(request: HttpRequest) -> HttpResponse:
    """All devices, and whose code is set or locked; a form for a new device."""
    form = DeviceForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            device = actions.make_device(
                name=form.cleaned_data["name"],
                scope=DeviceScope(form.cleaned_data["scope"]),
                by=person_of(request.user),
                now=clock.now(),
            )
        except actions.DeviceRefused as refused:
            form.add_error("name", str(refused))
        else:
            return _let_in(request, device)
    now = clock.now()
    context = {
        "form": form,
        "devices": queries.devices(),
        "codes": queries.code_states(WITH_A_CODE, now=now, today=timezone.localdate(now)),
    }
    return render(request, "people/devices.html", context)


@never_cache
@require_POST
@requires(Role.REGISTRAR)
def let_in(request: HttpRequest, pk: int) -> HttpResponse:
    """A code for a tablet or a token for a sensor, shown this once."""
    return _let_in(request, get_object_or_404(Device, pk=pk))


@require_POST
@requires(Role.REGISTRAR)
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    """Puts a device out."""
    device = get_object_or_404(Device, pk=pk)
    actions.revoke(device, by=person_of(request.user), now=clock.now())
    messages.success(
        request,
        f"{device.name} is out from its next request on. What it has not sent stays on it, and comes when "
        "it is enrolled again.",
    )
    return redirect("devices")


@require_POST
@requires(Role.REGISTRAR)
def unlock_code(request: HttpRequest, pk: int) -> HttpResponse:
    """Forgets somebody's wrong tries, or takes the code away so that they choose a new one."""
    person = get_object_or_404(Person, pk=pk)
    if "take_away" in request.POST:
        codes.take_code_away(person)
        messages.success(request, f"{person.name} has no code now, and chooses a new one under “My code”.")
    else:
        codes.unlock(person)
        messages.success(request, f"{person.name} may try again.")
    return redirect("devices")


@require_http_methods(["GET", "HEAD", "POST"])
@requires()
def my_code(request: HttpRequest) -> HttpResponse:
    """The own four digits for shared devices."""
    person = person_of(request.user)
    form = CodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            codes.set_code(person, form.cleaned_data["code"], by=person, now=clock.now())
        except codes.CodeRefused as refused:
            form.add_error("code", str(refused))
        else:
            messages.success(request, "Your code is set. Give it on a shared device beside your initials.")
            return redirect("my_code")
    changed = queries.code_changes([person.pk]).get(person.pk)
    return render(request, "people/my_code.html", {"form": form, "changed_at": changed})


def _let_in(request: HttpRequest, device: Device) -> HttpResponse:
    """The page that shows a secret once; it is answered to the request itself and never stored."""
    by, now = person_of(request.user), clock.now()
    context = {"device": device, "minutes": int(CODE_LASTS.total_seconds() // 60)}
    if device.scope != DeviceScope.TANKSIDE:
        context["token"] = actions.give_token(device, by=by, now=now).token
    else:
        code = actions.offer_code(device, by=by, now=now)
        address = f"{settings.ADDRESS}/tank/enrol"
        qr = segno.make(f"{address}#{code.replace(' ', '-')}", error="m")
        context |= {"code": code, "address": address, "qr": qr.svg_data_uri(scale=5, border=4)}
    response = render(request, "people/let_in.html", context)
    response["Cache-Control"] = "no-store"
    return response
