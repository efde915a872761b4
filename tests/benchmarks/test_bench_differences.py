"""The benchmark of differences runs from one end to the other, and its planted house is what it says."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from .planted import LEVELS, Noise, Planted, Size, netted, planted_house

PROJECT = Path(__file__).resolve().parent.parent.parent
SMALL = Size(places=40, taxa=150, differences=60)


def test_the_benchmark_of_differences_runs() -> None:
    run = subprocess.run(
        [
            *(sys.executable, "-m", "tests.benchmarks.bench_differences"),
            *("--places=40", "--taxa=150", "--differences=60"),
        ],
        cwd=PROJECT,
        env={key: value for key, value in os.environ.items() if not key.startswith("DJANGO_SETTINGS")},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert run.returncode == 0, run.stderr
    assert "40 places, 150 kinds, 60 differences" in run.stdout
    for level in LEVELS:
        assert level.name in run.stdout


@pytest.mark.parametrize("level", LEVELS, ids=lambda level: level.name)
def test_what_was_planted_adds_up_to_the_differences_of_lines_without_error(level: Noise) -> None:
    house = planted_house(SMALL, level, seed=3)
    left = {line.key: line.difference for line in house.lines if line.count_class != "C"}
    for one in house.truth:
        for key, n in ((one.loses, -one.n), (one.gains, one.n)):
            if key in left:
                left[key] -= n
    assert {key: n for key, n in left.items() if n} == {}


def test_the_same_seed_plants_the_same_house() -> None:
    first, second = (planted_house(SMALL, LEVELS[1], seed=5) for _ in range(2))
    assert (first.lines, first.truth) == (second.lines, second.truth)
    assert planted_house(SMALL, LEVELS[1], seed=6).truth != first.truth


def test_what_went_there_and_back_is_told_as_the_difference() -> None:
    truth = [Planted("move", "a", "b", 5), Planted("move", "b", "a", 2), Planted("swap", "a", "b", 1)]
    assert netted(truth) == [Planted("move", "a", "b", 3), Planted("swap", "a", "b", 1)]
    assert netted([Planted("move", "a", "b", 2), Planted("move", "b", "a", 2)]) == []
