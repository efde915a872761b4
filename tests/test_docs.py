"""README.md and DEVELOPERS.md say what is so: every command, path, setting and word in them is checked."""

import re
import shlex
import tomllib
from argparse import ArgumentParser
from importlib import import_module
from importlib.util import find_spec

import pytest
from django.core.management import get_commands, load_command_class

from inventory.book.rules.kinds import EventKind
from inventory.people.rules.roles import Role

from .sources import PROJECT, files, shown

DOCS = {name: (PROJECT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md")}
README = DOCS["README.md"]
OURS = {name: app for name, app in get_commands().items() if str(app).startswith(("inventory.", "census."))}
FENCED = re.compile(r"^```\w*\n(.*?)^```", re.M | re.S)
TICKED = re.compile(r"`([^`\n]+)`")


def _examples() -> list[tuple[str, list[str]]]:
    """(command, words after it) of every example of ``manage.py`` in a fenced block."""
    found = []
    for text in DOCS.values():
        for block in FENCED.findall(text):
            for line in block.replace("\\\n", " ").splitlines():
                if "manage.py " in line:
                    words = shlex.split(line.partition("manage.py ")[2], comments=True)
                    ends = [words.index(word) for word in ("|", ">", "&&", "<") if word in words]
                    found.append((words[0], words[1 : min(ends, default=len(words))]))
    return found


EXAMPLES = _examples()


def _parser(command: str) -> ArgumentParser:
    return load_command_class(get_commands()[command], command).create_parser("manage.py", command)


@pytest.mark.parametrize("command", sorted(OURS))
def test_the_readme_shows_an_example_of_every_command(command: str) -> None:
    assert command in {name for name, _ in EXAMPLES}


@pytest.mark.parametrize(
    ("command", "words"), EXAMPLES, ids=[" ".join((name, *words)) for name, words in EXAMPLES]
)
def test_every_example_is_one_that_the_command_takes(command: str, words: list[str]) -> None:
    """The command's own parser reads it; a wrong word raises CommandError with the reason."""
    assert command in get_commands()
    _parser(command).parse_args(words)


PATH = re.compile(
    r"(?:inventory|census|tests|fixtures|\.ci|\.docs|\.github)(?:/[\w.*-]+)*/?|[\w.-]+\.(?:md|toml|lock)"
)


@pytest.mark.parametrize("doc", DOCS)
def test_every_path_named_is_there(doc: str) -> None:
    named = {text for text in TICKED.findall(DOCS[doc]) if PATH.fullmatch(text)}
    linked = {target for target in re.findall(r"\]\(([^)#]+)", DOCS[doc]) if "://" not in target}
    missing = {path for path in named | linked if not any(PROJECT.glob(path.rstrip("/")))}
    assert missing == set()


@pytest.mark.parametrize("doc", DOCS)
def test_every_module_and_name_is_there(doc: str) -> None:
    dotted = {text for text in TICKED.findall(DOCS[doc]) if re.fullmatch(r"(inventory|census)(\.\w+)+", text)}
    assert {name for name in dotted if not _resolves(name)} == set()


def _resolves(name: str) -> bool:
    parent, _, last = name.rpartition(".")
    try:
        return find_spec(name) is not None
    except ModuleNotFoundError:
        return hasattr(import_module(parent), last)


@pytest.mark.parametrize("doc", DOCS)
def test_every_link_within_a_page_leads_to_a_heading(doc: str) -> None:
    headings = re.findall(r"^#+ (.+)$", FENCED.sub("", DOCS[doc]), re.M)
    slugs = {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}
    assert set(re.findall(r"\]\(#([^)]+)\)", DOCS[doc])) <= slugs


def test_the_readme_names_every_setting_and_no_other() -> None:
    """Save TIDETALLY_DEMO, which ``demo`` sets for itself alone."""
    code = " ".join(path.read_text() for path in files(".py", under=("inventory", "census")))
    read = set(re.findall(r"[\"'](TIDETALLY_\w+)[\"']", code)) - {"TIDETALLY_DEMO"}
    assert set(re.findall(r"`(TIDETALLY_\w+)`", README)) == read


@pytest.mark.parametrize("words", [EventKind, Role])
def test_the_readme_names_every_kind_of_event_and_every_role(words: type[EventKind] | type[Role]) -> None:
    assert {word.value for word in words if f"`{word.value}`" not in README} == set()


def test_the_test_command_of_the_readme_is_the_one_that_ci_runs() -> None:
    lines = [line for block in FENCED.findall(README) for line in block.splitlines()]
    (command,) = {line for line in lines if line.endswith(".venv/bin/pytest") and "venv .venv" in line}
    assert command in (PROJECT / ".ci" / "run").read_text().splitlines()


def test_every_dependency_has_its_reason_in_the_developers_page() -> None:
    project = tomllib.loads((PROJECT / "pyproject.toml").read_text())["project"]
    needed = [*project["dependencies"], *project["optional-dependencies"]["dev"]]
    names = {re.split(r"[\[<>=]", line)[0] for line in needed}
    assert {name for name in names if f"`{name}`" not in DOCS["DEVELOPERS.md"]} == set()


def test_no_address_of_a_package_registry_is_in_the_lock() -> None:
    lock = (PROJECT / "requirements.lock").read_text()
    assert not re.search(r"://|--(extra-)?index-url|--find-links|--trusted-host", lock)


def test_every_room_is_on_the_map() -> None:
    rooms = {
        shown(path.parent) for path in files(".py", under=("inventory", "census")) if path.name == "apps.py"
    }
    assert {room for room in rooms if f"`{room}" not in DOCS["DEVELOPERS.md"]} == set()
