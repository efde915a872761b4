"""Forms that take a paper or a picture: spoilt files under odd names, beside words that are no words."""

import json
import random
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from html import unescape
from pathlib import Path
from typing import Any

from django.contrib.messages import ERROR, get_messages
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from inventory.names.models import Taxon
from inventory.permits.actions.loans import LoanFacts, enter_loan
from inventory.permits.actions.permits import LineFacts, LinkFacts, VersionFacts, enter_permit
from inventory.permits.actions.returns import nil_return
from inventory.permits.files.returns import write_return
from inventory.permits.models import Permit
from inventory.permits.queries.notices import notices
from tests import factories
from tests.rounds.house import NOW, TestHouse

from . import damage

# The name is the sender's, and half of what a file is told by.
_NAMES = (
    *("paper.pdf",) * 8, "letter.txt", "list.csv", "post.eml", "book.xlsx", "all.zip", "page.html", "x.svg",
    "../../outside.pdf", "C:\\outside.pdf", "a" * 250 + ".pdf", "\u202efdp.exe", ".pdf", "paper.pdf.php",
    "paper.pdf\n", "=1+1.csv", "\U0001f41f.png", "CON.pdf", " ",
)  # fmt: skip

# As Django's forms mark what is wrong with a field.
_AGAINST = re.compile(r'<ul class="errorlist[^>]*>\s*<li>(.*?)</li>', re.DOTALL)


@dataclass(frozen=True, slots=True)
class Form:
    """Where a form is sent, in which field the file goes, and what else is said, rightly."""

    name: str
    address: str
    field: str
    said: Mapping[str, str]
    client: Client


def forms(house: TestHouse, sheet: str, line: int) -> list[Form]:
    """Each form of the house with a file in it, save the scans, which are several at once."""
    officer, counter = Client(), Client()
    officer.force_login(house.officer.user)  # type: ignore[arg-type]
    counter.force_login(house.first.user)  # type: ignore[arg-type]
    permit = _permit(house)
    return [
        Form("paper of a permit", f"/permit/{permit.pk}/paper", "file", {}, officer),
        Form("letter of a loan", f"/loan/{_loan(house)}", "letter-file", _LETTER, officer),
        Form("receipt of a return", f"/return/{_return(house, permit)}", "receipt", _SENT, officer),
        Form("letter of a notice", f"/permits/notice/{_notice()}", "file", _TOLD, officer),
        Form("picture of a line", f"/sheet/{sheet}/line/{line}/picture", "picture", {}, counter),
    ]


_DAY, _LOBSTER = "2026-10-06", "Homarus gammarus"
_LETTER = {"do": "letter", "letter-letter_of": _DAY, "letter-words": "both are well", "letter-sex": "unknown"}
_SENT = {"sent_on": _DAY, "how": "by e-mail", "to": "the Board", "note": ""}
_TOLD = {
    "told": "sent", "n": "1", "sent_on": _DAY, "to": "the Board", "how": "by e-mail", "text": "one died",
    "note": "",
}  # fmt: skip


def _permit(house: TestHouse) -> Permit:
    """It wants deaths told within a week."""
    factories.make_taxon(_LOBSTER)
    line = LineFacts("Lobster, to hold", 20, per="held", link=LinkFacts("taxon", [_LOBSTER]))
    facts = VersionFacts(date(2026, 1, 1), date(2026, 9, 30), [line], notice_days=7)
    return enter_permit(
        number="INV 9", authority="OTHER", authority_name="The Other Board", return_days=30,
        holder="Invented House", facts=facts, by=house.officer, now=NOW,
    )  # fmt: skip


def _loan(house: TestHouse) -> int:
    """Two animals of another house, in a place that nobody counts."""
    factories.make_place("F1")
    lot = factories.make_lot("S1", owner="A Sea Centre")
    factories.make_event("loan_in", lot=lot, place="F1", males=1, females=1, happened="2026-02-03")
    facts = LoanFacts(
        reference="L1", direction="in", party="A Sea Centre", starts_on=date(2026, 2, 3), lots=["S1"]
    )
    return enter_loan(facts=facts, by=house.officer, now=NOW).pk


def _return(house: TestHouse, permit: Permit) -> int:
    zone = timezone.get_current_timezone()
    return nil_return(permit=permit, write=write_return, by=house.officer, now=NOW, zone=zone).pk


def _notice() -> str:
    """One of two lobsters died last week."""
    lot = factories.make_lot("H1", taxon=Taxon.objects.get(scientific_name=_LOBSTER))
    factories.make_event("received", lot=lot, place="F1", unknown=2, happened="2026-03-01")
    factories.make_event("died", lot=lot, place="F1", unknown=1, happened="2026-10-01")
    (found,) = notices(on=date(2026, 10, 6), zone=timezone.get_current_timezone())
    return found.key


def spoilt(form: Form, examples: list[bytes]) -> Callable[[random.Random, Path], Path]:
    """The file, and beside it what else the form says and how the file is called."""

    def make(draw: random.Random, folder: Path) -> Path:
        path = folder / "file"
        path.write_bytes(draw.choice((*damage.RAW, *(damage.nothing,) * 4))(draw, draw.choice(examples)))
        said = dict(form.said)
        typed = sorted(said.keys() - {"do"})
        if typed and draw.random() < 0.4:
            said[draw.choice(typed)] = draw.choice(damage.EVIL_CELLS)
        (folder / "said").write_text(json.dumps([draw.choice(_NAMES), said]), encoding="utf-8")
        return path

    return make


def sent(form: Form, refused: type[Exception]) -> Callable[[Path], None]:
    """Through the page, as a browser sends it; what the page then says against it is the refusal."""

    def feed(path: Path) -> None:
        name, said = json.loads((path.parent / "said").read_text(encoding="utf-8"))
        file = SimpleUploadedFile("x", path.read_bytes(), content_type="application/pdf")
        # Past its own cleaning of names: that of the house is looked at.
        vars(file)["_name"] = name
        answer: Any = form.client.post(form.address, {**said, form.field: file})
        assert answer.status_code in (200, 302), answer.status_code
        if answer.status_code == 200:
            raise refused("\n".join(unescape(one) for one in _AGAINST.findall(answer.text)))
        # Earlier ones are there still: no page has shown them.
        *_, newest = get_messages(answer.wsgi_request)
        if newest.level >= ERROR:
            raise refused(str(newest))

    return feed
