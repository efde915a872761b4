"""The match service as tests have it: answers in a row, a clock that only moves when told to."""

import importlib
import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
import requests

from inventory.names.online.client import Gbif
from inventory.names.online.manners import Manners
from tests.factories import NOW

CHECKLIST = "7ddf754f-d193-4cc9-b351-99906754a03b"
JSON = "application/json"


def manners(**fields: Any) -> Manners:
    """Manners as set by default."""
    stated = {
        "is_on": True, "checklist": CHECKLIST, "timeout": 10, "tries": 3, "between": 1, "cache_days": 90,
    }  # fmt: skip
    return Manners(**{**stated, **fields})


class Clock:
    """Stands still; sleeping moves it, and is written down."""

    def __init__(self, start: datetime = NOW) -> None:
        self.moment = start
        self.slept: list[float] = []

    def __call__(self) -> datetime:
        return self.moment

    def sleep(self, seconds: float) -> None:
        assert seconds >= 0
        self.slept.append(seconds)
        self.moment += timedelta(seconds=seconds)

    def pass_(self, **span: float) -> None:
        """Time goes by."""
        self.moment += timedelta(**span)


class Service:
    """Stands in the place of ``gbif_GET``: gives or raises one thing after another, the last for ever."""

    def __init__(self, *ends: Any) -> None:
        self.ends = list(ends)
        self.asked: list[dict[str, Any]] = []

    def gbif_GET(self, url: str, args: dict[str, Any], **kwargs: Any) -> Any:  # noqa: N802 (the library's name)
        self.asked.append({"url": url, **args, **kwargs})
        end = self.ends.pop(0) if len(self.ends) > 1 else self.ends[0]
        if isinstance(end, Exception):
            raise end
        return end

    @property
    def names(self) -> list[str]:
        """What was asked for, in order."""
        return [one["scientificName"] for one in self.asked]


def replace_service(monkeypatch: pytest.MonkeyPatch, *ends: Any) -> Service:
    """Puts a service in the place of the one function that goes to the network."""
    service = Service(*ends)
    # The package gives its function the name of its module, so the module is asked for by name.
    module = importlib.import_module("pygbif.species.name_backbone")
    monkeypatch.setattr(module, "gbif_GET", service.gbif_GET)
    return service


def response(status: int, body: Any = b"", **headers: str) -> requests.Response:
    """A real response of requests, made by hand."""
    made = requests.Response()
    made.status_code = status
    made._content = body if isinstance(body, bytes) else json.dumps(body).encode()
    made.headers.update({name.replace("_", "-"): value for name, value in headers.items()})
    made.url = "https://api.gbif.org/v2/species/match"
    return made


def replace_network(monkeypatch: pytest.MonkeyPatch, *responses: requests.Response) -> None:
    """Lets pygbif's own code read these responses; the last for ever."""
    importlib.import_module("pygbif")

    def one_after_another() -> Iterator[requests.Response]:
        yield from responses
        while True:
            yield responses[-1]

    rest = one_after_another()
    monkeypatch.setattr(requests, "get", lambda *args, **kwargs: next(rest))


def client(clock: Clock, **fields: Any) -> Gbif:
    """The client with a clock that does not run."""
    return Gbif(manners(**fields), clock=clock, sleep=clock.sleep)
