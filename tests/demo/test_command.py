"""The command on a machine that has a house of its own: the demo keeps away from it."""

import os
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

from census.demo.actions.people import password_of
from census.demo.actions.preview import promised
from census.demo.rules.fixtures import read_rows

from ..migrated import on_sqlite_anyhow

MANAGE = Path(__file__).resolve().parents[2] / "manage.py"
LONGEST = 60  # seconds, on two cores
pytestmark = on_sqlite_anyhow


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("data")


@pytest.fixture(scope="module")
def run(data: Path) -> subprocess.CompletedProcess[str]:
    """One run, with a house's own database named in the environment."""
    ours = ("TIDETALLY_", "DJANGO_")
    environment = {name: value for name, value in os.environ.items() if not name.startswith(ours)}
    environment |= {"TIDETALLY_DATA": str(data), "DATABASE_URL": f"sqlite:///{data / 'own.sqlite3'}"}
    return subprocess.run(
        [sys.executable, str(MANAGE), "demo", "--no-serve"],
        env=environment,
        cwd=data,
        capture_output=True,
        text=True,
        timeout=LONGEST * 4,  # eight test processes may share the two cores
        check=False,
    )


def test_it_ends_well_and_prints_the_promised_figures(run: subprocess.CompletedProcess[str]) -> None:
    assert run.returncode == 0, run.stderr
    figures = promised()
    assert f"= {figures['closing']:,}, of which {figures['missing']} missing" in run.stdout
    assert f"{figures['unaccounted']} unaccounted for" in run.stdout


def test_it_prints_a_sign_in_of_everybody_who_has_one(run: subprocess.CompletedProcess[str]) -> None:
    for row in read_rows("people.csv"):
        if row["sign_in"]:
            assert row["name"] in run.stderr
            assert password_of(row["sign_in"]) in run.stderr


def test_the_workbook_opens_and_closes_with_the_promised_number(
    run: subprocess.CompletedProcess[str], data: Path
) -> None:
    path = next(Path(line.split(" is ")[1]) for line in run.stdout.splitlines() if "workbook is" in line)
    assert path.parent == data
    book = openpyxl.load_workbook(path, data_only=True)
    numbers = {cell for sheet in book for row in sheet.iter_rows(values_only=True) for cell in row}
    assert promised()["closing"] in numbers


def test_the_house_of_its_own_is_left_alone(run: subprocess.CompletedProcess[str], data: Path) -> None:
    assert run.returncode == 0
    assert (data / "demo.sqlite3").exists()
    assert not (data / "own.sqlite3").exists()
    assert not (data / "tidetally.sqlite3").exists()


def test_a_port_in_use_is_told_before_anything_is_built(data: Path) -> None:
    refused = subprocess.run(
        [sys.executable, str(MANAGE), "demo", "--port", "99999"],
        cwd=data,
        capture_output=True,
        text=True,
        check=False,
        timeout=LONGEST,
    )
    assert refused.returncode == 2
    assert "99999" in refused.stderr
