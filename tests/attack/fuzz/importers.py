"""Every door through which files or envelopes come in: whole examples, and how the house is handed one."""

import csv
import json
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any
from uuid import UUID

import openpyxl
from django.conf import settings
from django.contrib.messages import get_messages
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client

from census.rounds.actions.sheets import issue
from census.rounds.models import Census, Sheet
from census.rounds.queries.blind import blind_sheets
from census.rounds.rules.sheet_layout import COLUMNS, HEADER_ROW
from census.rounds.writers.count_sheets import write_sheets
from inventory.people.actions.codes import check_code, set_code
from inventory.people.actions.devices import enrol, make_device, offer_code
from inventory.people.models import DeviceScope
from inventory.site.backup.manifest import NotABackup
from inventory.site.backup.restore import unpack
from tests import factories
from tests.rounds.house import NOW, TestHouse, at, make_test_house

from . import damage, forms, packed
from .backups import small_backup

PROJECT = Path(__file__).resolve().parents[3]
LOADS = PROJECT / "fixtures" / "load" / "example"
BACKBONE = PROJECT / "fixtures" / "backbone"
LISTS = PROJECT / "fixtures" / "lists"


class Refused(Exception):
    """The house said no, in words."""


@dataclass(frozen=True, slots=True)
class Importer:
    """``make`` writes one spoilt example below a folder and answers its path; ``feed`` gives it to the house.

    ``feed`` returns when the file was taken and raises :class:`Refused` when it was not. ``keeps`` are tables
    that a refusal writes to on purpose.
    """

    name: str
    make: Callable[[random.Random, Path], Path]
    feed: Callable[[Path], None]
    keeps: frozenset[str] = frozenset()


@dataclass
class FuzzHouse:
    """A house in which everything that can be brought in has a place to go."""

    house: TestHouse
    census: Census
    settling: Census
    token: str
    signed: str
    registrar: Client
    forms: list[forms.Form]

    @property
    def sheet(self) -> Sheet:
        return self.census.sheets.order_by("number")[0]


def build() -> FuzzHouse:
    """A census that is being counted, one that waits for decisions, and a tablet that is let in."""
    house = make_test_house()
    settling = house.compared({"goby": 9, "bib": 23})
    house.period = factories.make_period("2026 Q4", "2026-10-01", "2026-12-31")
    census = house.open("K1", "K2", now=at("2026-10-02T09:00"))
    for sheet in census.sheets.all():
        issue(sheet=sheet, by=house.registrar, now=at("2026-10-02T10:00"), counters=[house.first])
    device = make_device(name="Blue", scope=DeviceScope.TANKSIDE, by=house.registrar, now=NOW)
    token = enrol(code=offer_code(device, by=house.registrar, now=NOW), now=NOW).token
    set_code(house.first, "4071", by=house.first, now=NOW - timedelta(days=3))
    signed = check_code(person=house.first, code="4071", device=device, now=NOW - timedelta(hours=1)).signed
    call_command("backbone", "load", str(BACKBONE), stdout=StringIO(), stderr=StringIO())
    client = Client()
    client.force_login(house.registrar.user)  # type: ignore[arg-type]
    line = house.line(census, "goby")
    papers = forms.forms(house, line.sheet.number, line.number)
    return FuzzHouse(house, census, settling, token, signed, client, papers)


def importers(house: FuzzHouse) -> list[Importer]:
    """All of them."""
    return [
        Importer("load: workbook", _spoilt_file("house.xlsx", _house_workbooks(), _WORKBOOK), _load),
        Importer("load: folder of csv", _spoilt_folder(_house_folders()), _load),
        Importer("backbone load: archive", _spoilt_file("names.zip", _archives(), _ARCHIVE), _backbone),
        Importer("backbone load: folder", _spoilt_folder([_release()]), _backbone),
        Importer("backbone load: table", _spoilt_file("names.csv", _tables(), _TABLE), _backbone),
        Importer("lists load", _spoilt_file("cites.csv", _lists(), _TABLE), _lists_load),
        Importer("check_names", _spoilt_file("typed.csv", _typed(), _TABLE), _check_names),
        Importer("census take", _spoilt_file("sheets.xlsx", _count_sheets(house), _WORKBOOK), _take(house)),
        Importer("census settle", _spoilt_file("decisions.csv", _decisions(house), _TABLE), _settle(house)),
        Importer("scans", _spoilt_file("scan.pdf", _papers(), _BYTES), _scan(house)),
        *(
            Importer(form.name, forms.spoilt(form, _papers()), forms.sent(form, Refused))
            for form in house.forms
        ),
        Importer("restore", _spoilt_file("house.zip", [small_backup()], _BACKUP), _restore),
        Importer("API", _spoilt_json(house), _post(house), keeps=frozenset({"people_codetries"})),
    ]


# How often each kind of damage is done.
_WORKBOOK = (packed.workbook,) * 60 + (packed.bomb,)
_ARCHIVE = (packed.archive,) * 60 + (packed.archive_bomb,)
_TABLE = (damage.table,) * 60 + (damage.huge_table,)
_BYTES = damage.RAW
_BACKUP = (packed.archive,) * 20 + (packed.archive_bomb,)


def _spoilt_file(
    name: str, examples: Sequence[bytes], ways: Sequence[damage.Damage]
) -> Callable[[random.Random, Path], Path]:
    def make(draw: random.Random, folder: Path) -> Path:
        path = folder / (name if draw.random() < 0.97 else f"{name}.txt")
        path.write_bytes(draw.choice(ways)(draw, draw.choice(examples)))
        return path

    return make


def _spoilt_folder(examples: Sequence[Mapping[str, bytes]]) -> Callable[[random.Random, Path], Path]:
    def make(draw: random.Random, folder: Path) -> Path:
        inside = folder / "sheets"
        inside.mkdir()
        example = dict(draw.choice(examples))
        spoilt = draw.choice(sorted(example))
        way = damage.markup if spoilt.endswith(".xml") else draw.choice(_TABLE)
        example[spoilt] = way(draw, example[spoilt])
        if draw.random() < 0.05:
            del example[draw.choice(sorted(example))]
        if draw.random() < 0.05:
            example[draw.choice(("EVENTS.CSV", "events .csv", "x.csv", ".csv", "notes.txt"))] = b"a,b\n1,2\n"
        for name, content in example.items():
            (inside / name).write_bytes(content)
        return inside

    return make


def _spoilt_json(house: FuzzHouse) -> Callable[[random.Random, Path], Path]:
    examples = _envelopes(house)

    def make(draw: random.Random, folder: Path) -> Path:
        where, body = draw.choice(examples)
        if draw.random() < 0.8:
            content = json.dumps(_other_value(draw, json.loads(json.dumps(body)))).encode()
        else:
            content = draw.choice(damage.RAW)(draw, json.dumps(body).encode())
        path = folder / where.replace("/", "~")
        path.write_bytes(content)
        return path

    return make


_EVIL_VALUES: tuple[Any, ...] = (
    *(None, True, -1, 0, 1e308, 10**30, 2**63, "", [], {}, [[]], {"a": {}}, [None] * 300),
    *damage.EVIL_CELLS,
)


def _other_value(draw: random.Random, value: Any) -> Any:
    """The same with one or a few things in it replaced, left out, or doubled."""
    for _ in range(draw.choice((1, 1, 2, 4))):
        value = _replaced(draw, value)
    return value


def _replaced(draw: random.Random, value: Any) -> Any:
    if isinstance(value, dict) and value and draw.random() < 0.9:
        key = draw.choice(sorted(value))
        what = draw.random()
        if what < 0.08:
            return {name: inside for name, inside in value.items() if name != key}
        if what < 0.12:
            return {**value, draw.choice(("more", "identifier", "kind", "pass", "__proto__")): value[key]}
        return {**value, key: _replaced(draw, value[key])}
    if isinstance(value, list) and value and draw.random() < 0.9:
        at_ = draw.randrange(len(value))
        if draw.random() < 0.1:
            return value * draw.choice((2, 150))
        return [*value[:at_], _replaced(draw, value[at_]), *value[at_ + 1 :]]
    return draw.choice(_EVIL_VALUES)


# Whole examples.


def _files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file()}


# An invented permit with a trip that let all its crabs go, and a loan of the example's own crabs.
_PERMITS: dict[str, bytes] = {
    "permits.csv": b"number,authority,holder,kind,valid_from,valid_until,"
    b"people,area,gear,seasons,return_days\n"
    b"INV 1,BOARD,Invented House,collecting,2025-01-01,2026-12-31,A. Keeper|A. Registrar,"
    b"-5 60 | -4 60 | -4 61 | -5 61,hand net|creel,04-01 to 09-30,30\n",
    "permit_lines.csv": b"permit,line,words,covers,names,limit,per,unit\n"
    b"INV 1,1,Shore crabs,taxon,Carcinus maenas,10,permit,animal\n",
    "trips.csv": b"ref,permit,happened,people,locality,latitude,longitude,uncertainty_m,gear,note\n"
    b"trip-1,INV 1,2025-06-01,A. Registrar,off the point,60.5,-4.5,100,creel,calm\n",
    "takes.csv": b"ref,trip,name,caught,let_go,died,kept,remarks\n"
    b"take-1,trip-1,Carcinus maenas,4,4,0,0,small\n",
    "loans.csv": b"reference,direction,party,agreement,starts_on,until,"
    b"young_part,lots,confirmed\n"
    b"LN-1,out,Another house,two crabs,2025-05-01,2027-05-01,1/2,2024-001,2025-08-01\n",
}


def _house_folders() -> list[dict[str, bytes]]:
    """The example of the README, and the same with sheets of permits and loans."""
    example = _files(LOADS)
    return [example, {**example, **_PERMITS}]


def _house_workbooks() -> list[bytes]:
    return [_workbook_of(folder) for folder in _house_folders()]


def _workbook_of(folder: Mapping[str, bytes]) -> bytes:
    book, out = openpyxl.Workbook(), BytesIO()
    book.remove(book.worksheets[0])
    for name, content in folder.items():
        page = book.create_sheet(name.removesuffix(".csv"))
        for row in csv.reader(StringIO(content.decode("utf-8-sig"))):
            page.append([int(cell) if cell.isdigit() and len(cell) < 4 else cell or None for cell in row])
    book.save(out)
    return out.getvalue()


def _archives() -> list[bytes]:
    whole = _release()
    lines = {"taxon.csv": 25, "vernacular.csv": 12, "range_cautions.csv": 1}
    short = {
        name: b"".join(content.splitlines(keepends=True)[: lines.get(name)])
        for name, content in whole.items()
    }
    return [packed.pack(short)] * 9 + [packed.pack(whole)]


def _release() -> dict[str, bytes]:
    """The release that came along, as a later one."""
    files = _files(BACKBONE)
    return {**files, "eml.xml": files["eml.xml"].replace(b"2026-01-20", b"2026-02-20")}


def _tables() -> list[bytes]:
    return [b"".join((BACKBONE / "taxon.csv").read_bytes().splitlines(keepends=True)[:30])]


def _lists() -> list[bytes]:
    return [
        b"".join((LISTS / name).read_bytes().splitlines(keepends=True)[:25])
        for name in ("cites.csv", "hazards.csv")
    ]


def _typed() -> list[bytes]:
    names = (PROJECT / "tests" / "names" / "bad_names.csv").read_bytes().splitlines(keepends=True)[:25]
    return [
        b"".join(names),
        b"Conger conger\nlabrus bergilta\n?\n",
        b"scientificName,class\nConger conger,Actinopterygii\n",
    ]


def _count_sheets(house: FuzzHouse) -> list[bytes]:
    out = BytesIO()
    write_sheets(blind_sheets(house.census.sheets.order_by("number")), out)
    book, filled = openpyxl.load_workbook(BytesIO(out.getvalue())), BytesIO()
    for page in book.worksheets:
        page["B5"], page["B6"] = house.house.first.name, "2026-10-03T10:00"
        for row in range(HEADER_ROW + 1, HEADER_ROW + 3):
            page.cell(row, COLUMNS.index("count") + 1, 3)
    book.save(filled)
    return [filled.getvalue(), out.getvalue()]


def _decisions(house: FuzzHouse) -> list[bytes]:
    line = house.house.line(house.settling, "goby")
    where = f"{line.sheet.number} line {line.number}"
    return [
        f"line,how,n,kind,happened,cause,note\n{where},late_event,2,died,2026-09-20,not known,\n".encode(),
        f"line,how,n,reason,owner,due\n{where},open_query,2,,{house.house.first.name},2026-10-20\n".encode(),
    ]


def _papers() -> list[bytes]:
    return [
        b"%PDF-1.7\n1 0 obj <</Type/Catalog/OpenAction<</S/JavaScript/JS(app.alert(1))>>>> endobj\n%%EOF\n",
        b"\x89PNG\r\n\x1a\n" + bytes(60),
        b"\xff\xd8\xff\xe0" + bytes(60),
        b"RIFF\x00\x00\x00\x00WEBPVP8 " + bytes(9),
        b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>',
    ]


def _envelopes(house: FuzzHouse) -> list[tuple[str, Any]]:
    person, sheet = house.house.first.pk, house.sheet
    said = {"person": person, "pass": house.signed, "saved_at": NOW.isoformat()}
    lot, line = house.house.lots["goby"].accession, sheet.lines.order_by("number")[0].number
    entry = {
        "identifier": str(UUID(int=7)),
        "kind": "died",
        "place": "K1",
        "lot": lot,
        "numbers": {"unknown": 1},
    }
    more: list[dict[str, Any]] = [
        {"cause": "not known", "body": {"kept": "freezer", "bag": "F1"}, "note": "found at ebb"},
        {"kind": "moved", "to_place": "K2"},
        {
            "kind": "reading",
            "lot": None,
            "numbers": None,
            "reading": {"quantity": "temperature", "value": "11.2", "unit": "°C"},
        },
        {"kind": "born", "stage": "juvenile"},
        {"kind": "missing", "last_seen": "2026-10-01"},
    ]
    entries = [{**entry, **said, **one, "identifier": str(UUID(int=8 + n))} for n, one in enumerate(more)]
    count = {
        **said,
        "identifier": str(UUID(int=90)),
        "sheet": sheet.number,
        "round": 1,
        "lines": [
            {"line": line, "value": 3, "counted_at": NOW.isoformat(), "passes": [3, 4], "remark": "low light"}
        ],
        "written_in": [{"name": "a crab", "value": 1, "counted_at": NOW.isoformat()}],
        "hand_in": False,
    }
    sent_at = NOW.isoformat()
    return [
        *[("entries", {"sent_at": sent_at, "entries": [one]}) for one in entries],
        ("entries", {"sent_at": sent_at, "entries": entries}),
        ("counts", {"sent_at": sent_at, "entries": [count]}),
        ("count-sheets", {"person": person, "pass": house.signed}),
        ("persons/check", {"person": person, "code": "4071"}),
        ("devices/enrol", {"code": "acorn actor agent alarm"}),
    ]


# How the house is handed one.


def _called(*arguments: str) -> None:
    """Runs a command as a person would; its refusals are those that a person gets to read."""
    out, err = StringIO(), StringIO()
    try:
        call_command(*arguments, stdout=out, stderr=err)
    except CommandError as refused:
        raise Refused(str(refused)) from None
    except SystemExit as stopped:
        if stopped.code:
            raise Refused(err.getvalue()) from None


def _load(path: Path) -> None:
    _called("load", str(path), "--format", "json")


def _backbone(path: Path) -> None:
    _called("backbone", "load", str(path))


def _lists_load(path: Path) -> None:
    _called("lists", "load", str(path), "--format", "json")


def _check_names(path: Path) -> None:
    _called("check_names", str(path), "--format", "json")


def _restore(path: Path) -> None:
    scratch = path.parent / "scratch"
    scratch.mkdir()
    try:
        unpack(path, scratch)
    except NotABackup as refused:
        raise Refused(str(refused)) from None


def _take(house: FuzzHouse) -> Callable[[Path], None]:
    return lambda path: _called("census", "take", str(path), "--by", house.house.registrar.name)


def _settle(house: FuzzHouse) -> Callable[[Path], None]:
    return lambda path: _called(
        "census",
        "settle",
        house.settling.code,
        str(path),
        "--by",
        house.house.registrar.name,
        "--format",
        "json",
    )


def _scan(house: FuzzHouse) -> Callable[[Path], None]:
    """Through the page, as a browser sends it."""

    def feed(path: Path) -> None:
        paper = SimpleUploadedFile(path.name, path.read_bytes(), content_type="application/pdf")
        answer = house.registrar.post(f"/sheet/{house.sheet.number}/scans", {"papers": [paper]})
        assert answer.status_code == 302, answer.status_code
        *_, said = (str(one) for one in get_messages(answer.wsgi_request))
        if not said.endswith("kept."):
            raise Refused(said)

    return feed


def _post(house: FuzzHouse) -> Callable[[Path], None]:
    client = Client(headers={"Authorization": f"Bearer {house.token}"})

    def feed(path: Path) -> None:
        where = path.name.replace("~", "/")
        answer = client.generic("POST", f"/api/v1/{where}", path.read_bytes(), "application/json")
        assert answer.status_code < 500, answer.status_code
        said = json.loads(answer.content)
        if answer.status_code != 200:
            raise Refused(str(said["detail"]))

    return feed


def backbone_files() -> set[str]:
    """What lies in the folder of backbones, save the lock."""
    folder = Path(settings.BACKBONE_FOLDER)
    return {path.name for path in folder.iterdir() if path.name != "load.lock"} if folder.is_dir() else set()


__all__ = ["FuzzHouse", "Importer", "Refused", "backbone_files", "build", "importers"]
