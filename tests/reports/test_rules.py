"""The rules that hold for every layout: one test a rule, each over all layouts.

The rules are *common practice, no source*.
"""

import re
from dataclasses import replace
from datetime import datetime

import pytest
from django.test import Client
from django.utils.timezone import get_current_timezone

from census.change.queries.report import change_report
from census.change.rules.figures import columns_of
from census.change.rules.question import Basis, By
from census.reports.rules.document import Document, Kind, Line
from inventory.names.models import TaxonName
from tests.change.sample import THIRD_QUARTER, Sample

from .conftest import OF_THE_HOUSE, QUARTER, answered

pytestmark = [pytest.mark.django_db, pytest.mark.parametrize("layout", OF_THE_HOUSE)]


def lines_of(document: Document) -> list[Line]:
    return [line for part in document.parts for table in part.tables() for line in table.lines]


def test_1_the_head_says_of_what_as_known_when_and_what_is_left_out(sample: Sample, layout: str) -> None:
    document = answered(layout)
    head = dict(document.head)
    assert "1 July 2026 to 30 September 2026" in document.title
    assert head["time zone"] == str(get_current_timezone())
    assert "2026 Q2 version 1" in head["basis"] + head["opening signed"]
    assert head["licence number"] == "ZL 12/2024"
    assert {"scope", "units", "names", "left out", "estimates"} <= head.keys()
    known = datetime(2026, 10, 6, 9, 10, tzinfo=get_current_timezone())
    asked = replace(THIRD_QUARTER, basis=Basis.KNOWN, known_at=known)
    assert dict(answered(layout, asked).head)["basis"] == "as known at 6 October 2026 09:10"


def test_2_units_are_never_added_and_what_is_only_present_stands_below(sample: Sample, layout: str) -> None:
    document = answered(layout)
    units = {table.unit for part in document.parts for table in part.tables()}
    assert {"animal", "colony", "egg case"} <= units
    for part in document.parts:
        for block in part.blocks:
            of_block = [table.unit for table in block.tables]
            assert len(of_block) == len(set(of_block))
    assert document.present_only == ["Sycon ciliatum"]
    assert all(line.name is None or line.name.accepted != "Sycon ciliatum" for line in lines_of(document))


def asked_columns(document: Document) -> list[dict[str, int]]:
    """The flows behind each figure that opens any."""
    figures = [
        figure for line in lines_of(document) for key, figure in line.figures.items() if key != "change"
    ]  # the change from opening to closing is a net by its nature
    return [columns_of(figure.asked["figure"]) for figure in figures if figure.asked]


def test_3_every_way_in_and_out_is_in_a_column_so_that_nothing_is_lost(sample: Sample, layout: str) -> None:
    by = By.PLACE if layout == "exhibits" else By.OWNER if layout == "stock-list" else By.TAXON
    report = change_report(replace(THIRD_QUARTER, by=by), zone=get_current_timezone())
    happened = {
        "died" if column == "died_within_30_days" else column
        for row in report.rows
        for column, n in row.change.flows.items()
        if n
    }
    if layout == "periods":  # the house's flows, among which those between its rows are zero or net
        happened = {column for change in report.totals.values() for column, n in change.flows.items() if n}
        happened = {"died" if column == "died_within_30_days" else column for column in happened}
    told = {column for columns in asked_columns(answered(layout)) for column in columns}
    assert len(happened) > 10
    assert happened <= told


def test_4_unexplained_gains_and_losses_are_never_netted(sample: Sample, layout: str) -> None:
    asked = asked_columns(answered(layout))
    assert any("found" in columns for columns in asked)
    assert any("unaccounted" in columns for columns in asked)
    assert not any({"found", "unaccounted"} <= columns.keys() for columns in asked)


def test_5_the_identity_check_stands_on_the_page(sample: Sample, reader: Client, layout: str) -> None:
    page = reader.get(f"/reports/{layout}", QUARTER).content.decode()
    assert "Ties: opening + in \N{MINUS SIGN} out + late = closing on every line" in page


def test_6_moves_show_only_where_the_row_is_a_place_and_are_zero_for_the_house(
    sample: Sample, layout: str
) -> None:
    document = answered(layout)
    if layout == "exhibits":
        sums = [sum(one.figures[key].number for one in lines_of(document) if "late" in one.figures)
                for key in ("moved_in", "moved_out")]  # fmt: skip
        assert sums == [6, 6]
    elif layout == "periods":
        moved = [line for line in lines_of(document) if line.label in ("moved in", "moved out")]
        assert len(moved) >= 2
        assert {line.figures["2026 Q3"].value for line in moved} == {0}
    elif layout == "taxa":
        (animals,) = (table for table in document.part("full").tables() if table.unit == "animal")
        assert [animals.total[key].value for key in ("moved_in", "moved_out")] == [0, 0]
        between = {line.figures["between"].value for line in lines_of(document) if "between" in line.figures}
        assert 0 in between
    else:
        assert {line.figures["heading regrouped or moved (net)"].value for line in lines_of(document)
                if line.name and line.name.accepted == "Gobius niger"} == {0}  # fmt: skip


def test_7_the_sexes_stand_beside_opening_and_closing(sample: Sample, layout: str) -> None:
    document = answered(layout)
    wrasse = next(one for one in lines_of(document) if one.name and one.name.accepted == "Labrus mixtus")
    assert (wrasse.figures["opening_mfu"].value, wrasse.figures["closing_mfu"].value) == ("2.5.0", "3.3.0")


def test_8_whether_anything_is_an_estimate_is_said(sample: Sample, layout: str) -> None:
    assert dict(answered(layout).head)["estimates"].startswith("none:")


def test_9_there_is_no_per_cent_of_a_few_animals(sample: Sample, reader: Client, layout: str) -> None:
    """E1 begins with 34 animals and may be told per hundred; E2 with 15 and N1 with 14 may not."""
    page = reader.get(f"/reports/{layout}", QUARTER).content.decode()
    rates = re.findall(r"(\d+) of (\d+) at the opening, [\d.]+ per 100", page)
    assert all(int(opening) >= 20 for _, opening in rates)
    assert len(rates) == (1 if layout == "exhibits" else 0)


def test_10_lines_carry_numbers_that_are_theirs_alone(sample: Sample, layout: str) -> None:
    numbers = [line.number for line in lines_of(answered(layout))]
    assert numbers == list(range(1, len(numbers) + 1))


def test_11_a_row_has_the_accepted_then_the_typed_then_the_common_name(
    sample: Sample, reader: Client, layout: str
) -> None:
    goby, lot = sample.taxa["goby"], sample.lots["goby"]
    goby.common_name = "black goby"
    goby.save()
    lot.verbatim_identification = "Gobius nigre"
    lot.save()
    for name, day in (("Gobius jozo", 1), ("Gobius niger", 20)):
        since = datetime(2026, 8, day, tzinfo=get_current_timezone())
        TaxonName.objects.create(taxon=goby, scientific_name=name, since=since)
    document = answered(layout)
    names = {one.name.accepted: one.name for one in lines_of(document) if one.name}
    assert (names["Gobius niger"].typed, names["Gobius niger"].common) == (("Gobius nigre",), "black goby")
    assert document.notes == [
        "Note 1: Gobius jozo became Gobius niger on 20 August 2026. One row holds both names."
    ]
    page = reader.get(f"/reports/{layout}", QUARTER).content.decode()
    assert '<i class="name">Gobius jozo</i> became <i class="name">Gobius niger</i> on' in page
    assert page.index("Gobius niger</i><sup>1</sup>") < page.index("Gobius nigre") < page.index("black goby")


def test_12_empty_rows_are_left_out_and_what_came_and_went_stays(sample: Sample, layout: str) -> None:
    from tests.factories import make_lot, make_taxon

    book, place = sample.book, sample.places["E1"]
    passing = make_lot("PASSING", taxon=make_taxon("Zeus faber"))
    book.crossing("received", "2026-07-05", passing, place, 3)
    book.crossing("died", "2026-07-09", passing, place, 3)
    names = {one.name.accepted for one in lines_of(answered(layout)) if one.name}
    assert "Zeus faber" in names
    colonies = {
        one.name.accepted
        for table in answered(layout).parts[0].tables()
        if table.unit == "colony"
        for one in table.lines
        if one.name
    }
    assert colonies == {"Eunicella verrucosa"}
    for one in lines_of(answered(layout)):
        came_and_went = one.name is None or one.name.accepted == "Zeus faber"
        assert came_and_went or any(figure.number for figure in one.figures.values())


def test_13_every_number_is_whole_and_days_are_iso_in_files(sample: Sample, layout: str) -> None:
    for part in answered(layout).parts:
        for column in part.columns:
            if column.kind in (Kind.NUMBER, Kind.SIGNED):
                values = [line.figures[column.key].value for table in part.tables() for line in table.lines]
                assert all(value is None or type(value) is int for value in values)
    head = dict(answered(layout, words=False).head)
    assert head["period"] == "2026-07-01 to 2026-09-30, both days inside"


def test_14_tables_have_captions_and_headings_for_rows_and_columns(
    sample: Sample, reader: Client, layout: str
) -> None:
    page = reader.get(f"/reports/{layout}", QUARTER).content.decode()
    tables = re.findall(r"<table.*?</table>", page, re.DOTALL)
    assert len(tables) >= 3
    for table in tables:
        assert "<caption>" in table
        head = re.findall(r"<thead>.*?</thead>", table, re.DOTALL)[0]
        assert head.count('scope="col"') == head.count("<th ")
        rows = re.findall(r"<tr>.*?</tr>", table.partition("<tbody>")[2], re.DOTALL)
        assert all('scope="row"' in row for row in rows)
