"""The pages of returns: the draft with its checks, the frozen one, forms of authorities; who sees what."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.book import blind
from inventory.people.rules.roles import Role
from inventory.permits import questions
from inventory.permits.actions.return_templates import save_template
from inventory.permits.actions.takes import correct_take
from inventory.permits.models import CorrectionApproval, PermitReturn, ReturnRule, TemplateVersion
from inventory.permits.queries.returns import Asked
from inventory.permits.questions import Question
from inventory.permits.rules.statements import KNOWN

from .house import PermitHouse, a_take
from .test_returns import another_permit, freeze

AsRole = Callable[[Role], Client]
pytestmark = pytest.mark.usefixtures("frozen_clock")


def draft(house: PermitHouse) -> str:
    return f"/permit/{house.permit.pk}/return"


def mark_of(page: str) -> str:
    return page.partition('name="looked_at" value="')[2].partition('"')[0]


def test_a_draft_is_looked_at_and_frozen(house: PermitHouse, as_role: AsRole) -> None:
    house.record(a_take("two-spotted goby", 4))
    client = as_role(Role.PERMIT_OFFICER)
    page = client.get(draft(house)).text
    assert "All 14 checks are met." in page
    answer = client.post(draft(house), {"looked_at": mark_of(page), "explained": "", "remark": "as agreed"})
    one = PermitReturn.objects.get()
    assert answer["Location"] == f"/return/{one.pk}"
    assert dict(one.head)["remark"] == "as agreed"
    page = client.get(answer["Location"]).text
    assert one.fingerprint in page
    for file in one.files.all():
        assert file.document.sha256 in page
        given = client.get(f"/return/{one.pk}/file.{file.form}")
        assert len(given.content) == file.document.size


def test_each_missing_thing_leads_to_where_it_is_mended(house: PermitHouse, as_role: AsRole) -> None:
    lost = house.record(
        a_take("a worm that nobody knows", let_go=1), latitude=None, longitude=None, locality=""
    )
    late = house.record(a_take("two-spotted goby", 12), happened="2026-10-02")
    client = as_role(Role.PERMIT_OFFICER)
    page = client.get(draft(house)).text
    checks = page[page.index('id="checks"') : page.index("What it says")]
    assert f"/trip/{lost.trip.identifier}" in checks
    assert f"/trip/{late.trip.identifier}" in checks
    assert "/names/" in checks, "the open name leads to its review"
    over = next(case for case in late.cases if case.kind == "over_limit")
    assert f"/permits/case/{over.pk}" in checks
    answer = client.post(draft(house), {"looked_at": mark_of(page), "explained": ""})
    assert "Say what the authority is to know" in answer.text
    assert not PermitReturn.objects.exists()


def test_a_take_of_the_day_after_the_end_is_offered_to_the_permit_that_held(
    house: PermitHouse, as_role: AsRole
) -> None:
    take = house.record(a_take("two-spotted goby", 1), happened="2026-10-02").takes[0]
    another_permit(house)
    page = as_role(Role.PERMIT_OFFICER).get(draft(house)).text
    assert "OTHER 2 held that day and covers it" in page
    assert f"/take/{take.pk}/move" in page


def test_a_correction_waits_for_a_second_person(house: PermitHouse, as_role: AsRole) -> None:
    [take] = house.record(a_take("two-spotted goby", 4), at=house.now - timedelta(hours=2)).takes
    correct_take(
        take=take,
        entry=a_take("two-spotted goby", 3),
        why="three",
        by=house.officer,
        now=house.now,
        zone=house.zone,
    )
    row = take.replaced_by
    page = as_role(Role.PERMIT_OFFICER).get(draft(house)).text
    address = f"/permits/correction/take/{row.pk}/approve"
    assert address in page
    as_role(Role.PERMIT_OFFICER).post(address)
    assert not CorrectionApproval.objects.exists(), "not by who corrected"
    assert as_role(Role.AQUARIST).post(address).status_code == 403
    as_role(Role.CURATOR).post(address)
    assert CorrectionApproval.objects.get().by == house.people[Role.CURATOR]
    assert "All 14 checks are met." in as_role(Role.PERMIT_OFFICER).get(draft(house)).text


def test_who_may_approve_a_correction_does_so_on_the_page_of_its_trip(
    house: PermitHouse, as_role: AsRole
) -> None:
    """The curator makes no returns, and so saw the button nowhere."""
    recorded = house.record(a_take("two-spotted goby", 4), at=house.now - timedelta(hours=2))
    [take] = recorded.takes
    page = f"/trip/{recorded.trip.identifier}"
    button = '<button type="submit" aria-label="Approve: '
    assert "second person" not in as_role(Role.CURATOR).get(page).text
    correct_take(
        take=take,
        entry=a_take("two-spotted goby", 3),
        why="three",
        by=house.officer,
        now=house.now,
        zone=house.zone,
    )
    assert button in as_role(Role.CURATOR).get(page).text
    own = as_role(Role.PERMIT_OFFICER).get(page).text
    assert "wait for a second person" in own
    assert button not in own, "nobody approves their own"
    assert button not in as_role(Role.AQUARIST).get(page).text
    address = f"/permits/correction/take/{take.replaced_by.pk}/approve"
    told = as_role(Role.REGISTRAR).post(address, {"back": "trip"}, follow=True)
    assert told.redirect_chain[-1][0] == page
    assert "The correction is approved." in told.text
    assert "second person" not in told.text


def test_open_questions_of_other_rooms_are_asked(
    house: PermitHouse, as_role: AsRole, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot = house.record(a_take("two-spotted goby", 4)).takes[0].lot
    assert lot
    ask = lambda lots: [Question(lot.pk, "Q2: open query", "permits", ())] if lot.pk in lots else []  # noqa: E731
    monkeypatch.setattr(questions, "_ASKED", [ask])
    page = as_role(Role.PERMIT_OFFICER).get(draft(house)).text
    assert '<a href="/permits">Q2: open query</a>' in page


def test_a_nil_return_is_one_click(house: PermitHouse, as_role: AsRole) -> None:
    client = as_role(Role.PERMIT_OFFICER)
    assert "make the nil return" in client.get(f"/permit/{house.permit.pk}").text
    answer = client.post(f"{draft(house)}/nil", follow=True)
    assert "Nothing was taken under this permit in these days." in answer.text
    assert "1, version 1 (nil)" in client.get(f"/permit/{house.permit.pk}").text


def test_a_draft_of_days_that_are_told_already_leads_to_their_return(
    house: PermitHouse, as_role: AsRole
) -> None:
    house.record(a_take("two-spotted goby", 4))
    one = freeze(house)
    client = as_role(Role.PERMIT_OFFICER)
    days = "?starts_on=2026-01-01&ends_on=2026-09-30&as_of=2026-10-06&template="
    page = client.get(draft(house) + days).text
    assert f'<a href="/return/{one.pk}">Return 1, version 1</a> tells of these days already' in page
    assert f'<a href="?amends={one.pk}">an amended return</a>' in page
    assert "Freeze with your name" not in page
    longer = client.get(draft(house) + days.replace("2026-09-30", "2026-10-02")).text
    assert "tells of 1 January 2026 to 30 September 2026, some of these days too" in longer
    assert "Freeze with your name" in longer
    sent = {"explained": "second tab", "remark": "", "looked_at": ""}
    assert "tells of these days already" in client.post(draft(house) + days, sent).text
    assert PermitReturn.objects.count() == 1


def test_a_nil_return_is_of_the_days_that_were_looked_at(house: PermitHouse, as_role: AsRole) -> None:
    client = as_role(Role.PERMIT_OFFICER)
    days = {"starts_on": "2026-02-01", "ends_on": "2026-02-28", "as_of": "2026-02-28", "template": ""}
    page = client.get(draft(house), days).text
    assert "Nothing was taken from 1 February 2026 to 28 February 2026: make the nil return" in page
    client.post(f"{draft(house)}/nil", days)
    assert (PermitReturn.objects.get().starts_on, PermitReturn.objects.get().ends_on) == (
        date(2026, 2, 1),
        date(2026, 2, 28),
    )


def test_changed_since_sent_is_said_on_every_page_of_it(house: PermitHouse, as_role: AsRole) -> None:
    [take] = house.record(a_take("two-spotted goby", 4)).takes
    one = freeze(house)
    client = as_role(Role.PERMIT_OFFICER)
    the_list, permit, page = "/permits/returns", f"/permit/{house.permit.pk}", f"/return/{one.pk}"
    tag = '<span class="tag">changed since sent?</span>'
    assert not any(tag in client.get(url).text for url in (the_list, permit))
    assert "Changed since sent:" not in client.get(page).text
    later = house.now + timedelta(hours=1)
    entry = a_take("two-spotted goby", 3, let_go=1)
    correct_take(take=take, entry=entry, why="one was let go", by=house.officer, now=later, zone=house.zone)
    with time_machine.travel(later + timedelta(hours=1), tick=False):
        assert all(tag in client.get(url).text for url in (the_list, permit))
        told = client.get(page).text
        assert "<strong>Changed since sent:</strong> 1 record." in told
        assert "corrected: one was let go" in told
        amended = client.get(f"{draft(house)}?amends={one.pk}").text
        assert "version 2" in amended
        assert "kept: 3, before 4" in amended
        client.post(page, {"words": "told them by telephone"})
        assert tag not in client.get(the_list).text


def test_sending_is_noted_with_its_receipt(house: PermitHouse, as_role: AsRole) -> None:
    house.record(a_take("two-spotted goby", 4))
    one = freeze(house)
    client = as_role(Role.PERMIT_OFFICER)
    sent = {"sent_on": "2026-10-06", "how": "by e-mail", "to": "the Board"}
    receipt = SimpleUploadedFile("answer.txt", b"we have it")
    page = client.post(f"/return/{one.pk}", sent | {"receipt": receipt}, follow=True).text
    assert "6 October 2026, by e-mail, to the Board, receipt" in page
    early = client.post(f"/return/{one.pk}", sent | {"sent_on": "2026-01-01"}).text
    assert "cannot be sent before" in early


@pytest.mark.parametrize(
    ("role", "opens", "files", "makes"),
    [
        (Role.PERMIT_OFFICER, 200, 200, 200),
        (Role.REGISTRAR, 200, 200, 200),
        (Role.INSPECTOR, 200, 403, 403),
        (Role.CURATOR, 200, 403, 403),
        (Role.AQUARIST, 403, 403, 403),
    ],
)
def test_who_sees_what(
    house: PermitHouse, as_role: AsRole, role: Role, opens: int, files: int, makes: int
) -> None:
    house.record(a_take("two-spotted goby", 4, remarks="by the third pile"), locality="under the pier")
    one = freeze(house)
    client = as_role(role)
    page = client.get(f"/return/{one.pk}")
    assert page.status_code == opens
    assert client.get(f"/return/{one.pk}/file.csv").status_code == files
    assert client.get(draft(house)).status_code == makes
    exact = one.files.get(form="csv").document
    assert client.get(f"/document/{exact.sha256}").status_code == (200 if files == 200 else 403)
    if files != 200:
        for secret in ("under the pier", "60.5", "third pile"):
            assert secret not in page.text


def test_who_counts_the_animals_sees_no_return_of_them(
    house: PermitHouse, as_role: AsRole, monkeypatch: pytest.MonkeyPatch
) -> None:
    house.record(a_take("two-spotted goby", 4371719))
    one = freeze(house)
    client = as_role(Role.PERMIT_OFFICER)
    monkeypatch.setattr(blind, "_ASKED", [lambda person: {house.quarantine.pk}])
    for url in (draft(house), f"/return/{one.pk}"):
        page = client.get(url)
        assert page.status_code == 200
        assert "4371719" not in page.text
    assert client.get(f"/return/{one.pk}/file.csv").status_code == 403


def test_a_form_is_edited_with_its_history(house: PermitHouse, as_role: AsRole) -> None:
    client, pk = as_role(Role.PERMIT_OFFICER), house.permit.authority_id
    first = {"name": "Form 7", "columns": "eventDate = Day\nnumberKept", "coarse_degrees": "0.1"}
    address = client.post(f"/authority/{pk}/form", first)["Location"]
    client.post(address, {"columns": "numberKept = Retained", "coarse_degrees": "", "why": "new form"})
    versions = list(TemplateVersion.objects.order_by("number").values_list("number", "columns", "why"))
    assert versions == [
        (1, [["eventDate", "Day"], ["numberKept", "kept"]], ""),
        (2, [["numberKept", "Retained"]], "new form"),
    ]
    assert "Day, kept" in client.get(address).text
    assert "Form 7" in client.get(f"/authority/{pk}").text


def test_an_unknown_column_is_refused_with_those_that_are_known(house: PermitHouse, as_role: AsRole) -> None:
    client, pk = as_role(Role.PERMIT_OFFICER), house.permit.authority_id
    said = {"name": "Form", "columns": "eventDate\nnumberOfLegs = Legs", "coarse_degrees": ""}
    page = client.post(f"/authority/{pk}/form", said).text
    assert "Line 2: there is no column &#x27;numberOfLegs&#x27;." in page
    assert ", ".join(known.code for known in KNOWN) in page
    assert "numberOfLegs = Legs" in page, "nothing that was typed is lost"
    assert not TemplateVersion.objects.exists()


def test_the_rule_of_an_authority_is_data_with_a_history(house: PermitHouse, as_role: AsRole) -> None:
    client, pk = as_role(Role.PERMIT_OFFICER), house.permit.authority_id
    assert "30 days after expiry" in client.get(f"/authority/{pk}").text
    assert "30 October 2026" in client.get(f"/permit/{house.permit.pk}").text
    client.post(f"/authority/{pk}", {"kind": "each_year", "month_day": "03-31", "source": "their letter"})
    assert ReturnRule.objects.get().month_day == "03-31"
    assert "31 March 2027" in client.get(f"/permit/{house.permit.pk}").text
    assert (
        "expected MM-DD" in client.post(f"/authority/{pk}", {"kind": "each_year", "month_day": "31-3"}).text
    )


def test_pages_ask_as_many_questions_with_many_rows(house: PermitHouse, as_role: AsRole) -> None:
    house.record(a_take("two-spotted goby", 1))
    one = freeze(house)
    house.record(a_take("shore crab", 1), at=house.now)
    save_template(
        authority=house.permit.authority, name="Form", columns="eventDate", by=house.officer, now=house.now
    )
    client = as_role(Role.PERMIT_OFFICER)
    urls = (f"/permit/{house.permit.pk}", draft(house), f"/return/{one.pk}", "/permits/returns")

    def asked() -> dict[str, int]:
        found: dict[str, Any] = {}
        for url in urls:
            with CaptureQueriesContext(
                connection,
            ) as queries:
                assert client.get(url).status_code == 200
            found[url] = len(queries)
        return found

    few = asked()
    for day in range(1, 6):
        house.record(a_take("shore crab", 1), a_take("Urticina felina", 1), happened=f"2026-09-0{day}")
    freeze(house, Asked(date(2026, 2, 1), date(2026, 9, 30), date(2026, 10, 6)))
    assert asked() == few
