"""``asvs.csv`` maps the OWASP Application Security Verification Standard 5.0.0, levels 1 and 2, to us.

The numbers are the standard's (https://github.com/OWASP/ASVS, release 5.0.0, CC BY-SA 4.0); the words are our
own and short. "Met" names a test or a place in the code, "not met" and "not applicable" say why.
"""

import ast
import csv
import re
from collections import Counter
from pathlib import Path

import pytest

from ..sources import PROJECT

ASVS = Path(__file__).parent / "asvs.csv"
VERDICTS = ("met", "not met", "not applicable")
# Section and items of levels 1 and 2, as the standard numbers them; those of level 3 are left out.
ITEMS = """
1.1:2 1.2:9 1.3:11 1.4:3 1.5:2 2.1:3 2.2:3 2.3:4 2.4:1 3.2:2 3.3:4 3.4:6 3.5:5 3.7:2 4.1:3 4.2:1
4.3:2 4.4:4 5.1:1 5.2:3 5.3:2 5.4:3 6.1:3 6.2:12 6.3:4 6.4:4 6.5:5 6.6:3 6.8:4 7.1:3 7.2:4 7.3:2
7.4:5 7.5:2 7.6:2 8.1:2 8.2:3 8.3:1 8.4:1 9.1:3 9.2:4 10.1:2 10.2:2 10.3:4 10.4:11 10.5:5 10.6:2
10.7:3 11.1:2 11.2:3 11.3:3 11.4:4 11.5:1 11.6:1 12.1:3 12.2:2 12.3:4 13.1:1 13.2:5 13.3:2 13.4:5
14.1:2 14.2:4 14.3:3 15.1:3 15.2:3 15.3:7 16.1:1 16.2:5 16.3:4 16.4:3 16.5:3 17.1:1 17.2:4 17.3:2
"""


def rows() -> list[dict[str, str]]:
    """The map."""
    with ASVS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


ROWS = rows()


def test_every_item_of_levels_one_and_two_stands_once() -> None:
    wanted = [
        f"{section}.{number}"
        for section, _, last in (one.partition(":") for one in ITEMS.split())
        for number in range(1, int(last) + 1)
    ]
    assert [row["item"] for row in ROWS] == wanted


def test_every_item_has_a_verdict_with_what_it_rests_on() -> None:
    for row in ROWS:
        assert row["verdict"] in VERDICTS, row
        assert row["level"] in ("1", "2"), row
        assert row["words"], row
        assert row["where"] if row["verdict"] == "met" else row["reason"], row
    assert Counter(row["verdict"] for row in ROWS)["met"] > len(ROWS) / 2


@pytest.mark.parametrize("row", [row for row in ROWS if row["where"]], ids=lambda row: row["item"])
def test_every_test_and_place_that_is_named_is_there(row: dict[str, str]) -> None:
    path, _, name = row["where"].partition("::")
    assert (PROJECT / path).is_file(), row
    if name:
        tree = ast.parse((PROJECT / path).read_text(encoding="utf-8"))
        assert name in {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}, row


def test_nothing_evaluates_text_as_a_program() -> None:
    """No eval, exec, pickle or shell in what serves a house."""
    found = []
    for folder in ("inventory", "census"):
        for path in sorted((PROJECT / folder).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                    found += [str(path)] if node.func.id in ("eval", "exec") else []
                if isinstance(node, ast.keyword) and node.arg == "shell":
                    found.append(str(path))
                if isinstance(node, ast.Import | ast.ImportFrom):
                    names = {name.name for name in node.names} | {getattr(node, "module", "")}
                    found += [str(path)] if names & {"pickle", "marshal", "shelve", "yaml"} else []
    assert found == []


def test_no_script_writes_html() -> None:
    """Text is put into pages by textContent and the like."""
    bad = re.compile(
        r"\.(?:inner|outer)HTML\s*\+?=|insertAdjacentHTML|document\.write|\beval\(|new Function\("
    )
    found = [
        f"{path.name}: {line.strip()}"
        for folder in ("inventory", "census")
        for path in sorted((PROJECT / folder).rglob("static/**/*.js"))
        for line in path.read_text(encoding="utf-8").splitlines()
        if bad.search(line)
    ]
    assert found == []
