"""The files for a house's machine name commands, options, variables and addresses that there are."""

import configparser
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest
from django.core.management import get_commands, load_command_class
from django.urls import resolve

from ..sources import PROJECT

DEPLOY = PROJECT / ".deploy"
UNITS = sorted(DEPLOY.glob("*.service")) + sorted(DEPLOY.glob("*.timer"))


def _unit(path: Path) -> configparser.ConfigParser:
    read = configparser.ConfigParser(interpolation=None, strict=False, delimiters=("=",))
    read.optionxform = str  # type: ignore[assignment, method-assign]
    read.read_string(path.read_text())
    return read


def _commands() -> list[tuple[str, list[str]]]:
    """(where, words after manage.py) of every line that runs a command."""
    found = []
    for path in sorted(DEPLOY.iterdir()):
        for words in re.findall(r"python manage\.py ([^&\"\n]+)", path.read_text()):
            found.append((path.name, shlex.split(words.replace("$TIDETALLY_PROXY", "127.0.0.1"))))
    return found


@pytest.mark.parametrize(("where", "words"), _commands(), ids=lambda it: it if isinstance(it, str) else it[0])
def test_every_command_is_one_that_takes_its_options(where: str, words: list[str]) -> None:
    name, *options = words
    load_command_class(get_commands()[name], name).create_parser("manage.py", name).parse_args(options)


def test_backups_alarms_reminders_and_the_check_run_by_the_clock() -> None:
    timed = {path.stem for path in DEPLOY.glob("*.timer")}
    assert timed == {f"tidetally-{what}" for what in ("backup", "verify", "alarms", "digest")}
    assert {name for where, (name, *_) in _commands() if where.removesuffix(".service") in timed} == {
        "backup", "verify", "send_alarms", "send_digest",
    }  # fmt: skip


@pytest.mark.parametrize("path", UNITS, ids=lambda path: path.name)
def test_every_unit_runs_without_more_rights_than_it_needs(path: Path) -> None:
    unit = _unit(path)
    assert unit["Unit"]["Description"]
    if path.suffix == ".timer":
        assert unit["Timer"]["Persistent"] == "true"
        assert unit["Install"]["WantedBy"] == "timers.target"
        return
    service = unit["Service"]
    assert service["User"] == "tidetally"
    assert service["NoNewPrivileges"] == "true"
    assert service["ProtectSystem"] == "strict"
    assert service["CapabilityBoundingSet"] == ""
    assert service.get("StateDirectory") == "tidetally" or service["ReadWritePaths"] == "/var/lib/tidetally"


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="no systemd on this machine")
@pytest.mark.parametrize("timer", sorted(DEPLOY.glob("*.timer")), ids=lambda path: path.name)
def test_systemd_understands_every_time(timer: Path) -> None:
    command = ["systemd-analyze", "calendar", _unit(timer)["Timer"]["OnCalendar"]]
    subprocess.run(command, check=True, timeout=60)


def test_every_variable_and_address_named_there_is_one() -> None:
    readme = (PROJECT / "README.md").read_text()
    text = "\n".join(path.read_text() for path in DEPLOY.iterdir())
    named = set(re.findall(r"\bTIDETALLY_\w+", text)) - {"TIDETALLY_PROXY"}  # the container's own
    assert {name for name in named if f"`{name}`" not in readme} == set()
    for address in ("/ready", "/metrics"):
        assert address in text
        assert resolve(address).url_name == address.strip("/")


def test_the_container_copies_what_is_there_and_runs_as_nobody_in_particular() -> None:
    lines = (DEPLOY / "Containerfile").read_text().splitlines()
    for line in lines:
        if line.startswith("COPY ") and "--from" not in line:
            for name in line.split()[1:-1]:
                assert (PROJECT / name).exists(), line
    assert "USER tidetally" in lines
    assert not any("SECRET" in line or "PASSWORD" in line for line in lines)
