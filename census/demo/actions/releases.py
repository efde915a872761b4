"""The backbone of the demo house: the release of its first day, and the one adopted in January 2026.

The first is made from the second: for the names in ``renamed_2026.csv`` accepted name and synonym change
places, as they did between real releases.
"""

import csv
import shutil
import tempfile
from datetime import datetime, tzinfo
from pathlib import Path

from inventory.names.actions.adopt import adopt
from inventory.names.actions.backbone import load_release
from inventory.people.models import Person

from ..rules.fixtures import FIXTURES, read_rows
from .people import REGISTRAR

BACKBONE = FIXTURES.parent / "backbone"
FIRST_VERSION = "2024-05-14"
_VERSION = "2026-01-20"


def adopted_at(zone: tzinfo) -> datetime:
    """When the registrar took the second release into use."""
    return datetime(2026, 1, 20, 14, 10, tzinfo=zone)


def load_first_release(*, now: datetime) -> None:
    """Loads the release of the first day."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(shutil.copytree(BACKBONE, Path(folder) / "backbone"))
        about = copy / "eml.xml"
        about.write_text(about.read_text(encoding="utf-8").replace(_VERSION, FIRST_VERSION), encoding="utf-8")
        _rename_back(copy / "taxon.csv")
        load_release(copy, now=now)


def adopt_second_release(*, now: datetime) -> str:
    """Loads the second release, which changes names in use and so waits, and adopts it."""
    loaded = load_release(BACKBONE, now=now)
    done = adopt(loaded.release, by=Person.objects.get(name=REGISTRAR), now=now)
    return f"the release of {loaded.release.version}, {done.followed} names followed"


def _rename_back(file: Path) -> None:
    """Makes the older name of each pair the accepted one."""
    with file.open(encoding="utf-8", newline="") as source:
        rows = list(csv.DictReader(source))
    by_name = {row["canonicalName"]: row for row in rows}
    for pair in read_rows("renamed_2026.csv"):
        old, new = by_name[pair["old_name"]], by_name[pair["new_name"]]
        old["acceptedNameUsageID"], new["acceptedNameUsageID"] = "", old["taxonID"]
        old["taxonomicStatus"], new["taxonomicStatus"] = new["taxonomicStatus"], old["taxonomicStatus"]
        old["taxonRemarks"] = new["taxonRemarks"] = ""
        old["genus"] = new["genus"] = old["genericName"]
    with file.open("w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
