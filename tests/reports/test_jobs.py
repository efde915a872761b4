"""Saved reports, and files made beside the requests: asked, made, taken up again, fetched, and who may."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from io import BytesIO, StringIO
from typing import Any

import openpyxl
import pytest
from django.core import mail
from django.core.management import CommandError, call_command
from django.test import Client

from census.reports.actions import jobs
from census.reports.actions.jobs import HELD_FOR, MOST_TRIES, ask_job, work_at_one
from census.reports.actions.saved import NotSaved, ask_due, save_report
from census.reports.files.making import file_of
from census.reports.models import ReportJob, SavedReport
from census.reports.rules.schedule import Every, PeriodRule, next_due, period_of
from inventory.book import blind
from inventory.book.queries.documents import read_document
from inventory.book.rules.scope import Scope
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from tests.change.sample import Sample
from tests.factories import make_person

from .conftest import QUARTER

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 10, 21, 9, 0, tzinfo=UTC)
State = ReportJob.State


def work(moment: datetime = NOW, write: Callable[..., bytes] = file_of) -> bool:
    return work_at_one(now=lambda: moment, write=write)


def asked(person: Person, form: str = "xlsx", layout: str = "taxa", **question: str) -> ReportJob:
    return ask_job(layout=layout, question={**QUARTER, **question}, form=form, by=person, now=NOW)


def saved(person: Person, **facts: Any) -> SavedReport:
    given: dict[str, Any] = {
        "name": "For the council",
        "layout": "stock-list",
        "scope": Scope.ALL,
        "period_rule": PeriodRule.CLOSED_QUARTER,
        "form": "pdf",
        "every": Every.QUARTER,
        "day": 5,
        "today": date(2026, 7, 20),
    }
    return save_report(**{**given, **facts}, by=person, now=NOW)


@pytest.mark.parametrize("form", ["xlsx", "pdf", "csv"])
def test_a_file_is_made_kept_by_its_hash_and_fetched(sample: Sample, reader: Client, form: str) -> None:
    person = make_person()
    job = asked(person, form)
    assert work() is True
    job.refresh_from_db()
    assert (job.state, job.ties, job.rows_done) == (State.DONE, True, job.rows)
    assert job.document is not None
    answer = reader.get(f"/reports/made/{job.pk}/file")
    assert answer.content == read_document(job.document)
    assert (
        f"taxa_2026-07-01_2026-09-30_here.{'short.csv' if form == 'csv' else form}"
        in answer["Content-Disposition"]
    )
    assert work() is False
    for address in (f"/reports/made/{job.pk}", "/reports/made"):
        assert "1 July 2026 to 30 September 2026" in reader.get(address).text


def test_the_background_makes_what_the_page_gives(sample: Sample, reader: Client) -> None:
    job = asked(make_person(), "csv", scope="all")
    work()
    job.refresh_from_db()
    assert job.document is not None
    page = reader.get("/reports/taxa.csv", {**QUARTER, "scope": "all"})
    assert read_document(job.document) == page.content


def test_asking_again_before_it_is_made_is_the_same_file(sample: Sample) -> None:
    person = make_person()
    first, again, other = asked(person), asked(person), asked(person, "pdf")
    assert first == again != other
    work()
    assert asked(person) != first


def test_what_cannot_be_made_says_why_and_stops_nothing_else(sample: Sample, reader: Client) -> None:
    person = make_person()
    bad = asked(person, layout="periods", first_day="2001-01-01")
    good = asked(person)
    assert [work() for _ in range(3)] == [True, True, False]
    bad.refresh_from_db()
    good.refresh_from_db()
    assert (bad.state, good.state) == (State.FAILED, State.DONE)
    assert "at most 12 quarters" in bad.reason
    assert (
        "It could not be made: the report by period" in reader.get(f"/reports/made/{bad.pk}").content.decode()
    )


def test_a_fault_of_the_program_fails_the_file_and_not_the_house(
    sample: Sample, caplog: pytest.LogCaptureFixture
) -> None:
    def breaks(*_: Any, **__: Any) -> bytes:
        raise ZeroDivisionError

    job = asked(make_person())
    assert work(write=breaks)
    job.refresh_from_db()
    assert job.reason == "the program failed (ZeroDivisionError); the house's log tells more"
    assert "was not made" in caplog.text


def test_what_a_restart_left_undone_is_taken_up_when_its_hold_has_passed(sample: Sample) -> None:
    class PowerCut(BaseException):
        """What no handler of the program sees."""

    def dies(*_: Any, **__: Any) -> bytes:
        raise PowerCut

    job = asked(make_person())
    with pytest.raises(PowerCut):
        work(write=dies)
    job.refresh_from_db()
    assert job.state == State.WORKING
    assert work(NOW + HELD_FOR - timedelta(seconds=1)) is False
    assert work(NOW + HELD_FOR + timedelta(seconds=1)) is True
    job.refresh_from_db()
    assert (job.state, job.tries) == (State.DONE, 2)


def test_what_never_ends_is_given_up(sample: Sample) -> None:
    job = asked(make_person())
    ReportJob.objects.update(state=State.WORKING, tries=MOST_TRIES, held_until=NOW - timedelta(hours=1))
    assert work()
    job.refresh_from_db()
    assert "begun 3 times and never finished" in job.reason


def test_how_far_it_is_stands_on_its_page(
    sample: Sample, reader: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = asked(make_person())
    told: list[tuple[int | None, int]] = []
    moments = iter(NOW + timedelta(seconds=2 * i) for i in range(1000))

    def write(*args: Any, progress: Callable[[int], None], **more: Any) -> bytes:
        progress(3)
        state = reader.get(f"/reports/made/{job.pk}/state").json()
        told.append((state["rows"], state["done"]))
        return file_of(*args, progress=progress, **more)

    assert work_at_one(now=lambda: next(moments), write=write)
    ((rows, done),) = told
    assert (rows or 0) > 3
    assert done == 3
    page = reader.get(f"/reports/made/{job.pk}").content.decode()
    assert "It is made, and it ties" in page


def test_a_long_report_is_made_beside_the_requests_by_itself(
    sample: Sample, reader: Client, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any
) -> None:
    started: list[object] = []
    monkeypatch.setattr(jobs, "_start", started.append)
    monkeypatch.setattr("census.reports.views.layouts.LONG", {"xlsx": 3, "pdf": 3, "csv": 10**6})
    with django_capture_on_commit_callbacks(execute=True):
        answer = reader.get("/reports/taxa.xlsx", QUARTER)
    job = ReportJob.objects.get()
    assert answer.headers["Location"] == f"/reports/made/{job.pk}"
    assert started
    assert reader.get("/reports/taxa.csv", QUARTER).status_code == 200
    work()
    job.refresh_from_db()
    assert job.document is not None
    book = openpyxl.load_workbook(BytesIO(read_document(job.document)))
    assert book.sheetnames == ["Head", "Short form", "Full form", "Proof"]


def test_a_file_is_made_on_request(sample: Sample, reader: Client) -> None:
    answer = reader.post("/reports/exhibits/make?first_day=2026-07-01&last_day=2026-09-30", {"form": "pdf"})
    job = ReportJob.objects.get()
    assert answer.headers["Location"] == f"/reports/made/{job.pk}"
    assert (job.layout, job.form, job.question["first_day"]) == ("exhibits", "pdf", "2026-07-01")
    assert reader.post("/reports/exhibits/make", {"form": "docx"}).status_code == 400


def test_who_is_counting_fetches_no_file(
    sample: Sample, reader: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = asked(make_person())
    work()
    monkeypatch.setattr(blind, "_ASKED", [])
    blind.ask(lambda person: {sample.places["E1"].pk})
    assert reader.get(f"/reports/made/{job.pk}/file").status_code == 403


def test_a_saved_report_is_made_when_it_is_due_once(sample: Sample) -> None:
    report = saved(make_person())
    assert report.next_due_on == date(2026, 10, 5)
    assert ask_due(today=date(2026, 10, 4), now=NOW) == ([], [])
    (job,), troubles = ask_due(today=date(2026, 10, 9), now=NOW)
    assert troubles == []
    # The third quarter is not closed: the last closed one is the second.
    assert job.question == {"first_day": "2026-04-01", "last_day": "2026-06-30", "scope": "all"}
    assert ask_due(today=date(2026, 10, 9), now=NOW) == ([], [])
    report.refresh_from_db()
    assert report.next_due_on == date(2027, 1, 5)


def test_the_command_makes_what_is_due_and_lists_what_is_saved(sample: Sample, frozen_clock: Any) -> None:
    saved(make_person(name="Tamsin"), every=Every.MONTH)
    SavedReport.objects.update(next_due_on=date(2020, 1, 5))
    told = StringIO()
    call_command("saved_reports", "--due", stderr=told)
    assert told.getvalue().strip() == "1 of 1 due reports made"
    job = ReportJob.objects.get()
    assert job.state == State.DONE
    out = StringIO()
    call_command("saved_reports", "--format=csv", stdout=out)
    assert "For the council" in out.getvalue()
    assert "Tamsin" in out.getvalue()


def test_the_command_fails_when_a_report_could_not_be_made(db: None, frozen_clock: Any) -> None:
    saved(make_person())
    SavedReport.objects.update(next_due_on=date(2020, 1, 5))
    with pytest.raises(CommandError, match="no quarter is closed yet"):
        call_command("saved_reports", "--due", stderr=StringIO())


def test_its_maker_is_told_by_mail_without_a_figure(sample: Sample, settings: Any) -> None:
    settings.EMAIL_HOST = "mail.example"
    person = make_person(roles=[Role.REGISTRAR])
    assert person.user is not None
    person.user.email = "maker@example.org"
    person.user.save()
    report = saved(person)
    ask_due(today=report.next_due_on or date.max, now=NOW)
    work()
    (letter,) = mail.outbox
    assert letter.to == ["maker@example.org"]
    assert "“For the council” is made: Yearly stock list" in letter.body


def test_without_mail_the_file_is_made_all_the_same(sample: Sample) -> None:
    report = saved(make_person())
    ask_due(today=report.next_due_on or date.max, now=NOW)
    work()
    assert ReportJob.objects.get().state == State.DONE
    assert mail.outbox == []


FORM = {
    "name": "Quarter for the director",
    "layout": "taxa",
    "scope": "here",
    "period_rule": "quarter",
    "form": "xlsx",
    "every": "month",
    "day": "3",
}


def test_a_registrar_saves_a_report_makes_it_now_and_ends_it(sample: Sample, client: Client) -> None:
    person = make_person(roles=[Role.REGISTRAR])
    assert person.user is not None
    client.force_login(person.user)
    assert client.post("/reports/saved", FORM).status_code == 302
    again = client.post("/reports/saved", FORM)
    assert again.status_code == 400
    assert "choose another" in again.content.decode()
    report = SavedReport.objects.get()
    page = client.get("/reports/made").content.decode()
    assert "Quarter for the director" in page
    assert client.post(f"/reports/saved/{report.pk}/make").status_code == 302
    assert ReportJob.objects.get().saved == report
    assert client.post(f"/reports/saved/{report.pk}/end").status_code == 302
    report.refresh_from_db()
    assert (report.ended_by, report.next_due_on) == (person, None)
    assert client.post(f"/reports/saved/{report.pk}/make").status_code == 404


def test_an_inspector_reads_what_was_made_and_saves_nothing(sample: Sample, reader: Client) -> None:
    report = saved(make_person())
    assert reader.post("/reports/saved", FORM).status_code == 403
    assert reader.post(f"/reports/saved/{report.pk}/end").status_code == 403
    page = reader.get("/reports/made").content.decode()
    assert "For the council" in page
    assert "Make now" not in page


def test_a_file_that_is_not_made_yet_or_failed_is_called_by_the_words_of_its_report(
    sample: Sample, reader: Client
) -> None:
    """Not by the name of its address, and a report of one animal tells which."""
    asked(make_person(), "pdf", layout="stock-list")
    last = asked(make_person(), "pdf", layout="taxon", subject="Gobius niger")
    page = reader.get("/reports/made").content.decode()
    assert "Yearly stock list</a>" in page
    assert "One taxon, one page: Gobius niger</a>" in page
    heading = reader.get(f"/reports/made/{last.pk}").content.decode()
    assert "<h1>One taxon, one page: Gobius niger</h1>" in heading


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"name": " "}, "Give the report a name"),
        ({"day": 31}, "from 1 to 28"),
        ({"layout": "colours"}, "no report called"),
        ({"form": "docx"}, "A file is one of"),
        ({"layout": "taxon"}, "Say which animal"),
        ({"layout": "taxon", "subject": "Nemo"}, "No animal is called “Nemo”"),
    ],
)
def test_what_cannot_be_saved_is_refused_with_what_to_do(
    db: None, wrong: dict[str, object], said: str
) -> None:
    with pytest.raises(NotSaved, match=said):
        saved(make_person(), **wrong)


@pytest.mark.parametrize(
    ("every", "day", "after", "due"),
    [
        (Every.MONTH, 5, date(2026, 1, 4), date(2026, 1, 5)),
        (Every.MONTH, 5, date(2026, 12, 5), date(2027, 1, 5)),
        (Every.QUARTER, 28, date(2026, 10, 28), date(2027, 1, 28)),
        (Every.QUARTER, 1, date(2026, 2, 3), date(2026, 4, 1)),
        (Every.YEAR, 15, date(2026, 1, 15), date(2027, 1, 15)),
        (Every.NEVER, 1, date(2026, 1, 1), None),
    ],
)
def test_when_it_is_due_next(every: Every, day: int, after: date, due: date | None) -> None:
    assert next_due(every, day, after) == due


def test_which_days_it_is_of() -> None:
    on, closed = date(2026, 3, 3), (date(2025, 7, 1), date(2025, 9, 30))
    assert period_of(PeriodRule.CLOSED_QUARTER, on, closed) == closed
    assert period_of(PeriodRule.QUARTER, on, None) == (date(2025, 10, 1), date(2025, 12, 31))
    assert period_of(PeriodRule.MONTH, on, None) == (date(2026, 2, 1), date(2026, 2, 28))
    assert period_of(PeriodRule.YEAR, on, None) == (date(2025, 1, 1), date(2025, 12, 31))
    assert period_of(PeriodRule.TWO_YEARS, on, None) == (date(2024, 1, 1), date(2025, 12, 31))
