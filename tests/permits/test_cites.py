"""Trade in listed species: codes with their sources, statements, the yearly table.

The codes are checked against lists outside of the project: purpose codes as on cites.org/eng/node/130980
(adapted from Res. Conf. 12.3 (Rev. CoP18), seen); source codes as in 50 CFR 23.24 and AC31 Doc. 19.1 (seen)
and Res. Conf. 12.3 (Rev. CoP19) (from memory); units as in the views of the UNEP-WCMC trade database of
2019 and 2024 (github unepwcmc/SAPI, seen).
"""

import csv
from collections.abc import Callable
from decimal import Decimal
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.book.models import Event
from inventory.names.models import ListEntry, NameList
from inventory.people.rules.roles import Role
from inventory.permits.actions.cites import TradeRefused, TradeStated, state_trade
from inventory.permits.models import TradeFacts
from inventory.permits.queries.cites import Crossing, YearOfTrade, year_of_trade
from inventory.permits.readers.cites_codes import (
    PURPOSE,
    SOURCE,
    TERMS,
    UNITS,
    BadCodeList,
    code_list,
    read_code_list,
)
from inventory.permits.rules.cites import Trade, appendix_in

from .. import factories
from .house import PermitHouse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]
SEAHORSE = "Hippocampus guttulatus"


@pytest.fixture
def trading(house: PermitHouse) -> PermitHouse:
    """Seahorses (Appendix II by their genus) came on loan and left; gobies, which no list names, left too."""
    of_list = NameList.objects.create(
        code="cites", version=1, name="CITES Appendices", kind="legal", authority="the Convention",
        source="a test", source_date="2026", mark="memory", loaded_at=factories.NOW, fingerprint="0",
    )  # fmt: skip
    ListEntry.objects.create(
        of_list=of_list, row=7, scientific_name="Hippocampus spp.", name="Hippocampus",
        first_word="Hippocampus", rank="genus", annotation="Appendix II", mark="memory",
    )  # fmt: skip
    taxon = factories.make_taxon(SEAHORSE, genus="Hippocampus", rank="species")
    lot = factories.make_lot("S1", taxon=taxon)
    came: dict[str, Any] = {"lot": lot, "place": "E02", "party": "A Sea Centre"}
    factories.make_event("loan_in", males=2, females=2, happened="2026-02-03", **came)
    factories.make_event("received", unknown=3, happened="2026-05-01", **came)
    factories.make_event("sent", males=1, happened="2026-06-01", **came)
    goby = factories.make_lot("G1", taxon=house.taxa["Pomatoschistus flavescens"])
    factories.make_event("received", lot=goby, place="E02", unknown=9, happened="2026-02-04")
    factories.make_event("sent", lot=goby, place="E02", unknown=4, happened="2026-06-02", party="x")
    return house


def _year(house: PermitHouse, year: int = 2026, **asked: Any) -> YearOfTrade:
    return year_of_trade(year, zone=house.zone, **asked)


def _of(house: PermitHouse, kind: str) -> Crossing:
    return next(one for one in _year(house).crossings if one.event.kind == kind)


def _state(house: PermitHouse, kind: str, trade: Trade, quantity: str = "4", **stated: Any) -> TradeFacts:
    plain = {
        "country": "NO",
        "source": "C",
        "purpose": "Z",
        "term": "LIV",
        "unit": "NAR",
        "papers": "NO-123",
    }
    facts = TradeStated(trade, quantity=Decimal(quantity), **plain | stated)
    return state_trade(crossing=_of(house, kind), stated=facts, by=house.officer, now=house.now)


def test_the_codes_are_those_of_the_convention() -> None:
    assert set(code_list(PURPOSE).codes) == set("TZGQSHPMENBL")
    assert set(code_list(SOURCE).codes) == set("WXRDACFUIOY")
    assert {"LIV", "COR", "EGG", "SHE"} <= set(code_list(TERMS).codes)
    assert {code.code: code.was for code in code_list(UNITS).codes.values()} == {
        "NAR": "",
        "KGM": "KIL",
        "LTR": "LTR",
        "MTR": "MTR",
        "MTQ": "CUM",
        "MTK": "SQM",
    }
    for name in (PURPOSE, SOURCE, TERMS, UNITS):
        assert code_list(name).source
        assert code_list(name).source_date
        assert {code.mark for code in code_list(name).codes.values()} <= {"seen", "memory"}


@pytest.mark.parametrize(
    ("old", "new"), [("KIL", "KGM"), ("CUM", "MTQ"), ("sqm", "MTK"), (" KGM ", "KGM"), ("LTR", "LTR")]
)
def test_old_codes_of_units_become_the_new_ones(old: str, new: str) -> None:
    assert code_list(UNITS).now(old) == new


def test_a_code_that_there_is_not_is_told_with_those_there_are() -> None:
    with pytest.raises(ValueError, match="NAR, KGM"):
        code_list(UNITS).now("PCS")


@pytest.mark.parametrize(
    "text",
    [
        "list,x\n",
        "list,x\nsource,y\nsource_date,2024\nmark,seen\ncode,words\nA,b\n",
        "list,x\nsource,y\nsource_date,2024\nmark,seen\ncode,words,was,mark,note\nA,b,,,\nA,c,,,\n",
        "list,x\nsource,\nsource_date,2024\nmark,seen\ncode,words,was,mark,note\nA,b,,,\n",
    ],
)
def test_a_list_of_codes_that_cannot_be_read_is_told_and_not_used(tmp_path: Path, text: str) -> None:
    path = tmp_path / "source.csv"
    path.write_text(text)
    with pytest.raises(BadCodeList, match=r"source\.csv"):
        read_code_list(path)


@pytest.mark.parametrize(
    ("words", "appendix"),
    [("Appendix II", "II"), ("Appendix III (Ghana)", "III"), ("Appendix I", "I"), ("venomous", "")],
)
def test_the_appendix_is_read_from_the_lists_words(words: str, appendix: str) -> None:
    assert appendix_in(words) == appendix


def test_events_of_listed_animals_that_cross_the_wall_want_a_statement(trading: PermitHouse) -> None:
    found = _year(trading)
    assert [(one.event.kind, one.appendix, one.n) for one in found.open] == [
        ("loan_in", "II", 4),
        ("received", "II", 3),
        ("sent", "II", 1),
    ]
    assert found.rows == []
    assert _year(trading, 2025).crossings == []


def test_the_year_is_a_table_by_species_with_like_rows_added(trading: PermitHouse) -> None:
    _state(trading, "loan_in", Trade.IMPORT, "4")
    _state(trading, "received", Trade.IMPORT, "3", papers="NO-124", unit="nar")
    _state(trading, "sent", Trade.REEXPORT, "1", origin="no", country="is", papers="")
    found = _year(trading)
    assert found.open == []
    assert [tuple(row.values.values()) for row in found.rows] == [
        (SEAHORSE, "II", "import", "NO", "", "LIV", "NAR", 7, "Z", "C", "NO-123; NO-124"),
        (SEAHORSE, "II", "reexport", "IS", "NO", "LIV", "NAR", 1, "Z", "C", ""),
    ]


def test_the_newest_statement_holds_and_the_older_ones_stay(trading: PermitHouse) -> None:
    _state(trading, "loan_in", Trade.IMPORT, "5")
    _state(trading, "loan_in", Trade.IMPORT, "0.824", unit="KIL", why="weighed")
    assert [(row.quantity, row.unit) for row in _year(trading).rows] == [(Decimal("0.824"), "KGM")]
    stated = TradeStated(Trade.NONE, why="from the next island")
    state_trade(crossing=_of(trading, "loan_in"), stated=stated, by=trading.officer, now=trading.now)
    assert _year(trading).rows == []
    assert TradeFacts.objects.count() == 3
    with pytest.raises(IntegrityError), transaction.atomic():
        TradeFacts.objects.update(quantity=1)


@pytest.mark.parametrize(
    ("kind", "trade", "stated", "column"),
    [
        ("loan_in", Trade.EXPORT, {}, "trade"),
        ("sent", Trade.IMPORT, {}, "trade"),
        ("sent", Trade.REEXPORT, {}, "origin"),
        ("sent", Trade.EXPORT, {"country": ""}, "country"),
        ("sent", Trade.EXPORT, {"country": "N1"}, "country"),
        ("sent", Trade.EXPORT, {"quantity": "0"}, "quantity"),
        ("sent", Trade.EXPORT, {"source": "Q"}, "source"),
        ("sent", Trade.EXPORT, {"purpose": "W"}, "purpose"),
        ("sent", Trade.EXPORT, {"term": ""}, "term"),
        ("sent", Trade.EXPORT, {"unit": "PCS"}, "unit"),
    ],
)
def test_a_statement_that_cannot_be_is_refused(
    trading: PermitHouse, kind: str, trade: Trade, stated: dict[str, Any], column: str
) -> None:
    with pytest.raises(TradeRefused) as refused:
        _state(trading, kind, trade, **stated)
    assert column in [problem.column for problem in refused.value.problems]
    assert not TradeFacts.objects.exists()


def test_an_event_that_is_taken_back_is_in_no_report(trading: PermitHouse) -> None:
    _state(trading, "sent", Trade.EXPORT, "1")
    factories.make_reversal(Event.objects.get(kind="sent", flows__from_cell__lot__accession="S1"))
    assert [one.event.kind for one in _year(trading).crossings] == ["loan_in", "received"]


def test_page_csv_and_workbook_say_the_same(trading: PermitHouse, as_role: Callable[[Role], Client]) -> None:
    client = as_role(Role.PERMIT_OFFICER)
    crossing = _of(trading, "loan_in")
    page = f"/permits/trade/event/{crossing.event.pk}/{crossing.taxon.pk}"
    assert client.get(page).context["form"].initial == {"quantity": 4, "unit": "NAR", "term": "LIV"}
    said = {
        "trade": "import", "country": "no", "quantity": "4", "unit": "NAR", "term": "LIV", "source": "C",
        "purpose": "Z", "papers": "=1+1",
    }  # fmt: skip
    assert client.post(page, said | {"country": ""}).status_code == 200
    assert client.post(page, said)["Location"] == "/permits/trade?year=2026", "the year of the event"
    assert SEAHORSE in client.get("/permits/trade?year=2026").text
    text = client.get("/permits/trade/2026.csv").text
    (row,) = csv.DictReader(StringIO(text))
    assert (row["taxon"], row["quantity"], row["country"], row["permits"]) == (SEAHORSE, "4", "NO", "'=1+1")
    content = client.get("/permits/trade/2026.xlsx").content
    sheet = openpyxl.load_workbook(BytesIO(content)).active
    assert sheet is not None
    rows = list(sheet.iter_rows(values_only=True))
    assert dict(zip(rows[4], rows[5], strict=True))["quantity"] == 4
    assert sheet.cell(6, 11).data_type == "s"
    assert content == client.get("/permits/trade/2026.xlsx").content
    assert client.get("/permits/trade/2026.pdf").status_code == 404
    assert as_role(Role.AQUARIST).get("/permits/trade").status_code == 403
    assert as_role(Role.CURATOR).get(page).status_code == 403


def test_no_year_is_offered_in_which_the_book_had_not_begun(
    trading: PermitHouse, as_role: Callable[[Role], Client]
) -> None:
    client = as_role(Role.PERMIT_OFFICER)
    assert list(client.get("/permits/trade").context["years"]) == [2026]
    factories.make_event("opening", lot=factories.make_lot(), place="E02", unknown=1, happened="2024-11-02")
    assert list(client.get("/permits/trade").context["years"]) == [2026, 2025, 2024]


def test_who_counts_such_animals_is_not_told_how_many(
    trading: PermitHouse, as_role: Callable[[Role], Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    _state(trading, "received", Trade.IMPORT, "4711147")
    monkeypatch.setattr("inventory.book.blind._ASKED", [lambda person: [trading.kelp_hall.pk]])
    client = as_role(Role.PERMIT_OFFICER)
    crossing = _of(trading, "received")
    for path in (
        "/permits/trade", "/permits/trade/2026.csv",
        f"/permits/trade/event/{crossing.event.pk}/{crossing.taxon.pk}",
    ):  # fmt: skip
        assert "4711147" not in client.get(path).text, path
    assert [one.n for one in _year(trading, hidden=[trading.kelp_hall.pk]).crossings] == [None] * 3


def test_the_number_of_queries_does_not_grow_with_events(trading: PermitHouse) -> None:
    def ask() -> int:
        with CaptureQueriesContext(connection) as captured:
            _year(trading)
        return len(captured)

    few = ask()
    lot = factories.make_lot("S2", taxon=_of(trading, "sent").taxon)
    for n in range(5):
        factories.make_event("received", lot=lot, place="E02", happened=f"2026-03-0{n + 1}", party="x")
    assert ask() == few
