"""What the forms offer is what stands: saving a page as it was opened changes nothing."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

from django.forms import BaseForm, CheckboxInput
from django.test import Client

from inventory.people.rules.roles import Role
from inventory.permits.actions.loans import LoanFacts, enter_loan
from inventory.permits.forms.parts import people_choices
from inventory.permits.models import PermitLine, PermitVersion, Take
from inventory.permits.rules.accounts import limit_words

from ..factories import make_event, make_lot, make_person
from .house import LINES, PermitHouse, a_take, make_permit_house

AsRole = Callable[[Role], Client]


def _as_opened(form: BaseForm) -> dict[str, Any]:
    """What the browser sends of a form that nobody has touched."""
    sent: dict[str, Any] = {}
    for name in form.fields:
        box = form[name]
        if isinstance(box.field.widget, CheckboxInput):
            sent |= {box.html_name: "on"} if box.value() else {}
            continue
        value = box.field.widget.format_value(box.value())
        if isinstance(value, list) and not hasattr(box.field.widget, "allow_multiple_selected"):
            value = value[0] if value else ""
        chosen = value[0] if isinstance(value, list) and len(value) == 1 else value
        if chosen not in (None, "", []):
            sent[box.html_name] = _one_of(box, chosen)
    return {name: value for name, value in sent.items() if value is not None}


def _one_of(box: Any, chosen: Any) -> Any:
    """A choice that a menu does not have is none, as in a browser."""
    choices = getattr(box.field.widget, "choices", None)
    if choices is None or isinstance(chosen, list):
        return chosen
    return chosen if str(chosen) in {str(key) for key, _ in choices} else None


def test_a_take_with_eggs_keeps_them_when_something_else_is_corrected(
    house: PermitHouse, as_role: AsRole, frozen_clock: object
) -> None:
    (take,) = house.record(a_take("European lobster", let_go=1, berried=True, bycatch=True)).takes
    client = as_role(Role.PERMIT_OFFICER)
    sent = _as_opened(client.get(f"/take/{take.pk}/correct").context["form"])
    client.post(f"/take/{take.pk}/correct", sent | {"remarks": "let go at once", "why": "said later"})
    row = Take.objects.get(replaces=take)
    assert (row.berried, row.bycatch, row.remarks) == (True, True, "let go at once")


def test_an_amendment_leaves_alone_what_nobody_changed(db: None, frozen_clock: object) -> None:
    """Corners to the last decimal, and what a line says of animals let go alive."""
    corners = ((-104.623456, 60.412345), (-4.0, 60.0), (-4.0, 61.0))
    lines = [replace(LINES[0], let_go_alive_counts=True), replace(LINES[1], let_go_alive_counts=False)]
    house = make_permit_house(lines, area=corners)
    user = house.people[Role.PERMIT_OFFICER].user
    assert user
    client = Client()
    client.force_login(user)
    page = client.get(f"/permit/{house.permit.pk}/amend").context
    sent = _as_opened(page["form"]) | {"change": "amendment", "amended_on": "2026-10-05"}
    for row in page["lines"].forms:
        sent |= _as_opened(row)
    sent |= {"line-TOTAL_FORMS": len(page["lines"].forms), "line-INITIAL_FORMS": len(lines)}
    answer = client.post(f"/permit/{house.permit.pk}/amend", sent, follow=True)
    assert "has version 2" in answer.text
    version = PermitVersion.objects.get(permit=house.permit, number=2)
    assert version.area == [list(corner) for corner in corners]
    kept = PermitLine.objects.filter(version=version).order_by("position")
    assert [line.let_go_alive_counts for line in kept] == [True, False]


def test_those_whom_a_permit_names_stand_first_on_its_slip(house: PermitHouse, as_role: AsRole) -> None:
    form = as_role(Role.AQUARIST).get(f"/permit/{house.permit.pk}/trip").context["form"]
    names = [name for name, _ in form.fields["people"].choices]
    assert set(names[:2]) == {house.aquarist.name, "The skipper"}
    assert names[2:] == sorted(names[2:])


def test_limits_are_written_as_people_say_them() -> None:
    assert limit_words(3, "permit", "colony") == "3 colonies"
    assert limit_words(1, "permit", "piece") == "1 piece"
    assert limit_words(50, "trip", "animal") == "50 a trip"


def test_what_is_wrong_with_a_line_is_said_in_its_row(house: PermitHouse, as_role: AsRole) -> None:
    answer = as_role(Role.PERMIT_OFFICER).post(
        "/permits/new",
        {
            **{"number": "TEST 9", "authority": "BOARD", "holder": "Us", "kind": "collecting"},
            **{"valid_from": "2026-10-01", "valid_until": "2027-09-30"},
            **{"line-TOTAL_FORMS": 2, "line-INITIAL_FORMS": 0},
            **{"line-0-covers": "taxon", "line-0-per": "permit", "line-0-unit": "animal"},
            **{"line-1-covers": "taxon", "line-1-per": "permit", "line-1-unit": "animal"},
            **{"line-1-words": "Gobies, two kinds", "line-1-names": "A b | C d"},
        },
    )
    (wrong,) = answer.context["lines"].forms[1].errors["names"]
    assert wrong == "One kind of animal has one name; several together are a group."
    assert not answer.context["form"].errors


def test_a_letter_offers_animals_by_more_than_their_numbers(house: PermitHouse, as_role: AsRole) -> None:
    lot = make_lot("R1", kind="individual", house_name="Dab", taxon=house.taxa["Carcinus maenas"])
    make_event("received", lot=lot, place="E02", females=1)
    facts = LoanFacts("L1", "out", "A Sea Hall", date(2026, 1, 1), lots=["R1"])
    loan = enter_loan(facts=facts, by=house.officer, now=house.now)
    page = as_role(Role.PERMIT_OFFICER).get(f"/loan/{loan.pk}")
    assert "R1, “Dab”, Carcinus maenas, female" in page.text


def test_a_program_that_wrote_into_the_book_is_offered_nowhere_and_a_skipper_is(house: PermitHouse) -> None:
    """Without a sign-in or a code nobody enters anything by a machine, unless it is one."""
    make_person("Sheet macro")
    make_person("Einar the skipper")
    make_person("Old keeper")
    make_person("Corin", left_on=date(2025, 8, 31))
    make_event("received", entered_by="Sheet macro", device="spreadsheet")
    make_event("received", entered_by="Old keeper")
    signs_in = make_person("Wenna", roles=["aquarist"])
    make_event("received", entered_by=signs_in, device="Yellow")
    offered = [name for name, _ in people_choices()]
    assert {"Einar the skipper", "Old keeper", "Wenna"} <= set(offered)
    assert "Sheet macro" not in offered
    assert offered[-1] == "Corin"
