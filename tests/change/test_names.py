"""Reports under the names of a release or of a closing: other names, never other totals."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.timezone import get_current_timezone

from census.change.queries.behind import Selection, behind
from census.change.queries.report import Report, change_report
from census.change.rules.question import By, Question
from inventory.book.models import Lot
from inventory.names.actions.adopt import adopt
from inventory.names.actions.taxa import taxa_for
from inventory.names.models import BackboneRelease, Taxon
from tests.factories import make_lot, make_period, make_person
from tests.names.releases import Name, load_names

from .sample import THIRD_QUARTER, Sample, make_sample

pytestmark = pytest.mark.django_db
ADOPTED = datetime(2026, 10, 20, 9, 0, tzinfo=UTC)
GOBY, WRASSE = Name("Gobius niger", "(L, 1758)"), Name("Labrus mixtus", "(L, 1758)")
OTHERS = ("Hippocampus guttulatus", "Scyliorhinus canicula", "Eunicella verrucosa")


def _names(*more: Name) -> Sequence[Name]:
    return (*more, *(Name(name) for name in OTHERS))


@pytest.fixture
def sample(tmp_path: Path) -> Sample:
    """The sample house; after its third quarter a release merges the goby's name into the wrasse's."""
    sample = make_sample()
    Taxon.objects.update(phylum="Cnidaria", class_name="Anthozoa")
    load_names(tmp_path, "2025", *_names(GOBY, WRASSE))
    return sample


def _adopt(folder: Path, *names: Name, now: datetime = ADOPTED, version: str = "2026") -> BackboneRelease:
    release = load_names(folder, version, *_names(*names))
    assert not release.is_current
    adopt(release, by=make_person(roles=["registrar"]), now=now)
    return release


def _merge(folder: Path) -> BackboneRelease:
    return _adopt(folder, replace(GOBY, of=WRASSE.name, of_author=WRASSE.author), WRASSE)


def _ask(**changed: object) -> Report:
    question: Question = replace(THIRD_QUARTER, **changed)  # type: ignore[arg-type]
    return change_report(question, zone=get_current_timezone())


def _rows(report: Report) -> list[tuple[str, ...]]:
    return [(row.label, row.taxon.scientific_name, row.unit, str(row.change)) for row in report.rows]


@pytest.mark.parametrize("by", list(By))
def test_an_adoption_changes_no_figure_of_the_report(by: By, sample: Sample, tmp_path: Path) -> None:
    before = _ask(by=by)
    _merge(tmp_path)
    after = _ask(by=by)
    assert after.totals == before.totals
    assert not after.untied
    assert len(after.rows) < len(before.rows) or by in (By.PLACE, By.LOT, By.SOURCE)


@pytest.mark.parametrize("by", list(By))
def test_under_the_old_release_the_report_is_the_old_report(by: By, sample: Sample, tmp_path: Path) -> None:
    before = _rows(_ask(by=by))
    _merge(tmp_path)
    assert any("Gobius niger" in row for row in before)
    assert not any("Gobius niger" in row for row in _rows(_ask(by=by)))
    under = _ask(by=by, names="2025")
    assert _rows(under) == before
    assert not under.untied
    assert under.names is not None
    assert "Small backbone 2025, as they stood when it went out of use, 2026-10-20" in under.names.words


def test_under_the_release_in_use_merged_taxa_are_one_row(sample: Sample, tmp_path: Path) -> None:
    total = _ask().totals
    _merge(tmp_path)
    report = _ask(names="2026")
    names = [row.taxon.scientific_name for row in report.rows if row.unit == "animal"]
    assert names.count("Labrus mixtus") == 1
    assert report.totals == total
    assert _rows(report) == _rows(_ask())


def test_a_status_that_flips_prints_each_releases_own_name(sample: Sample, tmp_path: Path) -> None:
    new = Name("Gobius novus")
    _adopt(tmp_path, new, replace(GOBY, of=new.name, of_author=new.author), WRASSE)
    back = datetime(2026, 11, 20, 9, 0, tzinfo=UTC)
    _adopt(
        tmp_path, GOBY, replace(new, of=GOBY.name, of_author=GOBY.author), WRASSE, now=back, version="2027"
    )
    for names, printed in (("", GOBY.name), ("2027", GOBY.name), ("2026", new.name), ("2025", GOBY.name)):
        assert printed in {row.taxon.scientific_name for row in _ask(names=names).rows}


def test_the_names_of_the_closing_are_those_it_was_signed_with(sample: Sample, tmp_path: Path) -> None:
    sample.close(make_period(), "2026-10-15")
    before = _rows(_ask())
    _merge(tmp_path)
    report = _ask(names="closing")
    assert _rows(report) == before
    assert report.names is not None
    assert "at the closing 2026 Q3 version 1" in report.names.words
    assert "then of Small backbone 2025" in report.names.words


def test_the_classification_of_then_is_printed_with_the_name_of_then(sample: Sample, tmp_path: Path) -> None:
    moved = replace(GOBY, name="Pomato niger", family="Novidae")
    Taxon.objects.filter(scientific_name=GOBY.name).update(family="Exemplidae")
    _adopt(tmp_path, moved, replace(GOBY, of=moved.name, of_author=moved.author), WRASSE)
    families = {
        names: {row.taxon.scientific_name: row.taxon.family for row in _ask(names=names).rows}
        for names in ("", "2025")
    }
    assert families[""]["Pomato niger"] == "Novidae"
    assert families["2025"]["Gobius niger"] == "Exemplidae"


def test_behind_a_figure_under_old_names_stand_the_events_of_that_row(sample: Sample, tmp_path: Path) -> None:
    zone = get_current_timezone()
    _merge(tmp_path)
    report = _ask(names="2025")
    for row in report.rows:
        of_row = Selection(unit=row.unit, taxon_id=row.taxon.pk)
        for figure, n in (("opening", row.change.opening), ("closing", row.change.closing)):
            assert behind(report.question, figure, of_row, zone=zone).figure == n


def test_printing_old_names_takes_a_fixed_number_of_queries(sample: Sample, tmp_path: Path) -> None:
    _merge(tmp_path)

    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            _ask(names="2025")
        return len(captured)

    few = queries()
    for taxon in taxa_for([f"Own name {n}" for n in range(10)], now=ADOPTED).values():
        make_lot(taxon=taxon)
    assert queries() == few


def test_the_command_prints_under_a_release_and_says_so(sample: Sample, tmp_path: Path) -> None:
    period = ("--from", "2026-07-01", "--to", "2026-09-30")
    _merge(tmp_path)
    out, err = StringIO(), StringIO()
    call_command("change", *period, "--names", "2025", stdout=out)
    assert "printed under names of Small backbone 2025" in out.getvalue()
    assert "Gobius niger" in out.getvalue()
    out = StringIO()
    call_command("change", *period, "--names", "2025", "--format", "csv", stdout=out, stderr=err)
    assert "Printed under names of Small backbone 2025" in err.getvalue()
    assert "\nGobius niger,animal," in out.getvalue()
    call_command("change", *period, "--names", "2025", "--format", "xlsx", "--out", str(tmp_path / "a.xlsx"))
    for names, what in (("closing", "No closing counts"), ("1999", "no loaded release is called so")):
        with pytest.raises(CommandError, match=what) as refused:
            call_command("change", *period, "--names", names, stdout=out, stderr=err)
        assert refused.value.returncode == 2


def test_a_release_that_was_never_in_use_has_no_reports(sample: Sample, tmp_path: Path) -> None:
    load_names(tmp_path, "2026", *_names(replace(GOBY, of=WRASSE.name, of_author=WRASSE.author), WRASSE))
    with pytest.raises(CommandError, match="never in use"):
        call_command("stock", "--as-of", "2026-09-30", "--names", "2026", stdout=StringIO())


def test_the_stock_is_printed_under_a_release_or_a_closing(sample: Sample, tmp_path: Path) -> None:
    def stock(*more: str) -> str:
        out = StringIO()
        day = ("--as-of", "2026-09-30", "--format", "csv")
        call_command("stock", *day, *more, stdout=out, stderr=StringIO())
        return out.getvalue()

    sample.close(make_period(), "2026-10-15")
    before = stock()
    _merge(tmp_path)
    assert "Gobius niger" in before
    assert "Gobius niger" not in stock()
    assert stock("--names", "2025") == stock("--names", "closing") == before
    assert Lot.objects.filter(taxon__scientific_name=GOBY.name).count() == 0


def test_the_page_offers_names_once_a_second_release_has_been_in_use(
    sample: Sample, tmp_path: Path, client: Client, frozen_clock: object
) -> None:
    person = make_person(signs_in=True)
    assert person.user is not None
    client.force_login(person.user)
    period = {"first_day": "2026-07-01", "last_day": "2026-09-30"}
    assert "Names" not in [field.label for field in client.get(reverse("change"), period).context["form"]]
    old = BackboneRelease.objects.get()
    _merge(tmp_path)
    page = client.get(reverse("change"), {**period, "names": str(old.pk)})
    assert "Printed under names of Small backbone 2025" in page.content.decode()
    assert "Gobius niger" in page.content.decode()
    refused = client.get(reverse("change"), {**period, "names": "closing"})
    assert refused.status_code == 400
    assert "no closing counts at the end of this period" in refused.content.decode()
