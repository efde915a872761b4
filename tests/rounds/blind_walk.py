"""Opens everything that a person can open, and searches the bytes for numbers that must not be there."""

import re
import zipfile
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from html import unescape
from io import BytesIO
from itertools import product
from urllib.parse import urljoin, urlsplit

from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver
from pypdf import PdfReader

LINK = re.compile(r"""(?:href|src|action)\s*=\s*["']([^"'#]+)""")
PARAMETER = re.compile(r"<(?:\w+:)?(\w+)>")
MOST_PAGES = 3000
# Of one page, so many of the questions that links on it ask: a calendar goes on for ever.
MOST_QUESTIONS = 8


def pattern_of(numbers: Iterable[int]) -> re.Pattern[str]:
    """Finds any of the numbers as people and programs write them, standing by itself: not within a longer
    number, a word, a hash or an identifier."""
    forms = [re.escape(str(n)) for n in numbers]
    forms += [
        f"{n // 1000}(?:[,.'\\s\u202f\u00a0]|&nbsp;|&#160;){n % 1000:03d}" for n in numbers if n >= 1000
    ]
    alone = r"(?<![0-9A-Za-z])(?<![0-9A-Za-z]-)(?:%s)(?![0-9A-Za-z])(?!-[0-9A-Za-z])"
    return re.compile(alone % "|".join(forms))


def text_of(content: bytes) -> str:
    """What can be read of a file: the text of a PDF and its own bytes, all parts of a workbook, else all."""
    if content.startswith(b"%PDF"):
        pages = "\n".join(page.extract_text() for page in PdfReader(BytesIO(content)).pages)
        return pages + "\n" + content.decode("latin-1")
    if content.startswith(b"PK\x03\x04"):
        with zipfile.ZipFile(BytesIO(content)) as archive:
            return "\n".join(archive.read(name).decode("latin-1") for name in archive.namelist())
    return content.decode("utf-8", "replace")


def patterns(resolver: URLResolver | None = None, before: str = "") -> Iterator[tuple[str, str]]:
    """(route, name) of every address of the project."""
    for pattern in (resolver or get_resolver()).url_patterns:
        route = before + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from patterns(pattern, route)
        elif isinstance(pattern, URLPattern):
            yield route, pattern.name or ""


def names_in(route: str) -> list[str]:
    """The parameters of a route."""
    return PARAMETER.findall(route)


def addresses(values: Mapping[str, Sequence[object]], left_out: Iterable[str]) -> Iterator[str]:
    """Every address with every value of its parameters; a parameter without values is an error."""
    skipped = set(left_out)
    for route, name in patterns():
        if name in skipped:
            continue
        names = names_in(route)
        for chosen in product(*(values[one] for one in names)):
            parts = iter(chosen)
            yield "/" + PARAMETER.sub(lambda _, parts=parts: str(next(parts)), route)  # type: ignore[misc]


@dataclass
class Walk:
    """What was opened, and where a number was found."""

    forbidden: re.Pattern[str]
    opened: dict[str, int] = field(default_factory=dict)
    leaks: list[str] = field(default_factory=list)
    asked: Counter[str] = field(default_factory=Counter)

    def look(self, where: str, content: bytes) -> str:
        """Searches one answer; gives its text."""
        text = text_of(content)
        for found in self.forbidden.finditer(text):
            around = text[max(0, found.start() - 60) : found.end() + 30]
            self.leaks.append(f"{where}: {' '.join(around.split())}")
        return text

    def open(self, client: Client, address: str) -> list[str]:
        """Opens one address; gives the links on it that stay within the house."""
        response = client.get(address)
        self.opened[address] = response.status_code
        content = b"".join(response.streaming_content) if response.streaming else response.content  # type: ignore[attr-defined]
        headers = "\n".join(f"{name}: {value}" for name, value in response.items())
        self.look(f"headers of {address}", headers.encode())
        text = self.look(address, content)
        if response.status_code in (301, 302):
            return [_within(address, response["Location"])]
        if not response.get("Content-Type", "").startswith("text/html"):
            return []
        return [_within(address, unescape(link)) for link in LINK.findall(text)]

    def through(self, client: Client, starts: Iterable[str], *, skip: Callable[[str], bool]) -> None:
        """Opens ``starts``, and all that they lead to."""
        waiting = list(dict.fromkeys(starts))
        while waiting:
            address = waiting.pop()
            if not address or address in self.opened or skip(address):
                continue
            path, _, question = address.partition("?")
            if question and self.asked[path] >= MOST_QUESTIONS:
                continue
            self.asked[path] += bool(question)
            assert len(self.opened) < MOST_PAGES, "the pages have no end"
            waiting += self.open(client, address)


def _within(page: str, link: str) -> str:
    parts = urlsplit(urljoin(f"http://house{page}", link))
    if parts.netloc != "house" or parts.scheme != "http":
        return ""
    return parts.path + (f"?{parts.query}" if parts.query else "")
