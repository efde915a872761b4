"""The people of the demo house, with invented passwords that are printed and good for nothing else."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo

from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group

from inventory.people.actions.terms import grant_term
from inventory.people.models import House, Person
from inventory.people.rules.roles import Role

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


def make_people(*, zone: tzinfo) -> list[SignIn]:
    """Creates persons, sign-ins and the house; answers the sign-ins in the order of the fixture.

    Who inspects has that role from a day to a day, granted by the registrar, and no other.
    """
    groups = {group.name: group for group in Group.objects.all()}
    sign_ins = []
    rows = read_rows("people.csv")
    for row in rows:
        person = Person(name=row["name"], initials=_initials(row["name"]))
        person.left_on = date.fromisoformat(row["left_on"]) if row["left_on"] else None
        if row["sign_in"]:
            roles = tuple(row["roles"].split())
            sign_in = SignIn(roles, row["name"], row["sign_in"], password_of(row["sign_in"]))
            person.user = get_user_model().objects.create_user(
                sign_in.user, email=f"{sign_in.user}@kittelvoe.example", password=sign_in.password
            )
            person.user.groups.set(groups[role] for role in roles if not row["inspects_from"])
            sign_ins.append(sign_in)
        person.save()
    registrar = Person.objects.get(name=REGISTRAR)
    House.objects.create(name=HOUSE, licence_number=LICENCE, registrar=registrar)
    for row in rows:
        if row["inspects_from"]:
            _let_inspect(row, by=registrar, zone=zone)
    return sign_ins


def _let_inspect(row: dict[str, str], *, by: Person, zone: tzinfo) -> None:
    """Granted in the morning a week before."""
    first = date.fromisoformat(row["inspects_from"])
    grant_term(
        person=Person.objects.get(name=row["name"]),
        role=Role.INSPECTOR,
        starts_on=first,
        ends_on=date.fromisoformat(row["inspects_until"]),
        reason=row["note"],
        by=by,
        now=datetime.combine(first - timedelta(days=7), time(9, 10), zone),
    )


def password_of(sign_in: str) -> str:
    """The demo's password of a sign-in."""
    return f"{sign_in}-counts-at-ebb"


def _initials(name: str) -> str:
    return "".join(part[0] for part in name.replace("-", " ").split() if part != "Dr")
