"""Devices of the demo house, and codes of who holds them: invented, printed, good for nothing else."""

from dataclasses import dataclass
from datetime import datetime

from inventory.people.actions.codes import set_code
from inventory.people.actions.devices import make_device, offer_code
from inventory.people.models import DeviceScope, Person

from .people import REGISTRAR

DEVICES = ("Blue", "Yellow", "Boat")
# By sign-in. Invented; nobody outside the demo has them.
CODES = {
    "jory": "2716",
    "sunniva": "4071",
    "ade": "8305",
    "petra": "5948",
    "maren": "6152",
    "ylva": "3907",
    "osric": "1486",
    "wenna": "7420",
    "sella": "9263",
}


@dataclass(frozen=True, slots=True)
class Enrolment:
    """A device with the words that let it in, for a quarter of an hour from ``now``."""

    device: str
    code: str


def set_codes(*, now: datetime) -> None:
    """Gives everybody who works at the tanks a code."""
    for person in Person.objects.select_related("user").filter(user__username__in=CODES):
        assert person.user is not None
        set_code(person, CODES[person.user.username], by=person, now=now)


def make_devices(*, now: datetime) -> list[Enrolment]:
    """Three devices that wait to be enrolled."""
    registrar = Person.objects.get(name=REGISTRAR)
    made = [make_device(name=name, scope=DeviceScope.TANKSIDE, by=registrar, now=now) for name in DEVICES]
    return [Enrolment(one.name, offer_code(one, by=registrar, now=now)) for one in made]
