"""A command is held to the roles of whom it names; who has left confirms nothing."""

from datetime import date, timedelta
from pathlib import Path

import pytest
import time_machine
from django.core.management import CommandError, call_command

from inventory.people.actions import codes, devices
from inventory.people.models import DeviceScope, Person
from inventory.people.queries.acting import why_not
from inventory.people.queries.devices import code_changes
from inventory.people.rules.roles import Role

from ..factories import NOW, make_person

pytestmark = pytest.mark.django_db
NEEDED = (Role.REGISTRAR,)


def test_a_command_asks_for_the_role_that_a_page_asks_for() -> None:
    make_person("Maren", roles=[Role.REGISTRAR])
    make_person("Wenna", roles=[Role.COUNTER])
    make_person("Gone", roles=[Role.REGISTRAR], left_on=date(2026, 9, 30))
    stated = {"what": "load a workbook", "today": NOW.date()}
    assert why_not("Maren", NEEDED, **stated) == ""  # type: ignore[arg-type]
    assert why_not("spreadsheet load", NEEDED, **stated) == ""  # type: ignore[arg-type]
    assert why_not("Wenna", NEEDED, **stated) == (  # type: ignore[arg-type]
        "Wenna may not load a workbook: it is for the role registrar"
    )
    assert "left the house on 2026-09-30" in why_not("Gone", NEEDED, **stated)  # type: ignore[arg-type]


def test_load_refuses_a_counter_by_name(tmp_path: Path) -> None:
    make_person("Wenna", roles=[Role.COUNTER])
    with pytest.raises(CommandError, match=r"Wenna may not load a workbook.*Nothing was loaded"):
        call_command("load", str(tmp_path), "--by", "Wenna")


def test_who_has_left_gives_no_code_and_an_earlier_pass_holds_no_more() -> None:
    registrar, jory = make_person(roles=[Role.REGISTRAR]), make_person("Jory", roles=[Role.AQUARIST])
    device = devices.make_device(name="Blue", scope=DeviceScope.TANKSIDE, by=registrar, now=NOW)
    codes.set_code(jory, "4711", by=jory, now=NOW)
    with time_machine.travel(NOW, tick=False):
        assert codes.check_code(person=jory, code="4711", device=device, now=NOW).person == jory
        assert set(code_changes([jory.pk])) == {jory.pk}
        Person.objects.filter(pk=jory.pk).update(left_on=NOW.date())
        jory.refresh_from_db()
        assert code_changes([jory.pk]) == {}
        with pytest.raises(codes.WrongCode):
            codes.check_code(person=jory, code="4711", device=device, now=NOW + timedelta(minutes=1))
