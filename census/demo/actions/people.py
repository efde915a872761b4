"""The people of the demo house, with invented passwords that are printed and good for nothing else."""

from dataclasses import dataclass
from datetime import date

from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group

from inventory.people.models import House, Person

from ..rules.fixtures import read_rows

HOUSE = "Kittelvoe Aquarium"
LICENCE = "HI-AQ-07"
REGISTRAR = "Maren Tolvsund"


@dataclass(frozen=True, slots=True)
class SignIn:
    """One way into the demo house."""

    roles: tuple[str, ...]
    name: str
    user: str
    password: str


def make_people() -> list[SignIn]:
    """Creates persons, sign-ins and the house; answers the sign-ins in the order of the fixture."""
    groups = {group.name: group for group in Group.objects.all()}
    sign_ins = []
    for row in read_rows("people.csv"):
        person = Person(name=row["name"], initials=_initials(row["name"]))
        person.left_on = date.fromisoformat(row["left_on"]) if row["left_on"] else None
        if row["sign_in"]:
            roles = tuple(row["roles"].split())
            sign_in = SignIn(roles, row["name"], row["sign_in"], password_of(row["sign_in"]))
            person.user = get_user_model().objects.create_user(
                sign_in.user, email=f"{sign_in.user}@kittelvoe.example", password=sign_in.password
            )
            person.user.groups.set(groups[role] for role in roles)
            sign_ins.append(sign_in)
        person.save()
    House.objects.create(name=HOUSE, licence_number=LICENCE, registrar=Person.objects.get(name=REGISTRAR))
    return sign_ins


def password_of(sign_in: str) -> str:
    """The demo's password of a sign-in."""
    return f"{sign_in}-counts-at-ebb"


def _initials(name: str) -> str:
    return "".join(part[0] for part in name.replace("-", " ").split() if part != "Dr")
