"""What a closing keeps: papers that never change, and a list of contents that proves them."""

import hashlib
import json
from datetime import timedelta, tzinfo

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from inventory.book.actions.close import close_period
from inventory.book.models import Event, PeriodVersion, VersionStatement
from inventory.book.queries.verification import verify
from inventory.book.statements import FIGURES, PRINTED
from inventory.db import triggers
from tests.factories import NOW, make_event, make_lot, make_period, make_person, make_taxon

pytestmark = pytest.mark.django_db


def closed(n: int = 5) -> PeriodVersion:
    make_event("received", lot=make_lot(taxon=make_taxon("Gobius niger")), unknown=n, happened="2026-08-01")
    return close_period(
        make_period(), closed_at=NOW, signed_by=make_person(), zone=timezone.get_current_timezone()
    )


def of_closings(zone: tzinfo) -> list[str]:
    """What verify finds wrong with closings."""
    return [f.problem for f in verify(zone).findings if f.check in ("closing", "snapshot")]


def contents(version: PeriodVersion) -> dict[str, object]:
    found: dict[str, object] = json.loads(bytes(version.statements.get(name="contents").content))
    return found


def test_the_list_of_contents_names_balances_last_event_names_and_every_paper() -> None:
    version = closed()
    listed = contents(version)
    last = Event.objects.latest("id")
    assert listed["balances"] == version.fingerprint
    assert listed["events"] == {"last": last.pk, "hash": last.hash}
    papers = {
        paper.name: hashlib.sha256(bytes(paper.content)).hexdigest()
        for paper in version.statements.exclude(name="contents")
    }
    assert listed["papers"] == papers
    assert {FIGURES, PRINTED} <= set(papers)


def test_the_figures_of_a_version_stay_as_they_were_when_a_name_changes_and_a_late_slip_comes() -> None:
    version = closed()
    before = {paper.name: bytes(paper.content) for paper in version.statements.all()}
    lot = Event.objects.latest("id").flows.get().to_cell.lot
    lot.taxon.scientific_name = "Gobius paganellus"
    lot.taxon.save()
    place = Event.objects.latest("id").flows.get().to_cell.account.place
    assert place is not None
    make_event("died", lot=lot, place=place, happened="2026-09-01", now=NOW + timedelta(days=1))
    assert {paper.name: bytes(paper.content) for paper in version.statements.all()} == before
    figures = json.loads(before[FIGURES])
    assert [(row["name"], row["received"], row["closing"]) for row in figures["by_taxon"]] == [
        ("Gobius niger", 5, 5)
    ]
    assert b"Gobius niger (animal)" in before[PRINTED]
    assert b"Ties: " in before[PRINTED]


def test_the_database_refuses_to_change_a_paper() -> None:
    version = closed()
    with pytest.raises(IntegrityError), transaction.atomic():
        version.statements.update(content=b"other")


def test_verify_finds_a_paper_that_was_changed_behind_the_triggers() -> None:
    version = closed()
    zone = timezone.get_current_timezone()
    assert of_closings(zone) == []
    names = [name for name in triggers.DECLARED if name.startswith("book_versionstatement")]
    triggers.remove(connection, names)
    VersionStatement.objects.filter(version=version, name=PRINTED).update(content=b"2,830 animals")
    triggers.install(connection, names)
    assert of_closings(zone) == [f"its paper {PRINTED!r} was changed"]


def test_a_version_keeps_its_boundary_whatever_zone_the_house_has_later() -> None:
    version = closed()
    assert (
        version.boundary.astimezone(timezone.get_current_timezone())
        .isoformat()
        .startswith("2026-10-01T00:00")
    )
    with timezone.override("Pacific/Auckland"):
        assert of_closings(timezone.get_current_timezone()) == []
