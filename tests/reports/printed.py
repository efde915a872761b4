"""A print read back with pypdf, run by run: what stands where, how large, and in which face."""

from dataclasses import dataclass
from io import BytesIO
from itertools import takewhile
from typing import Any

from pypdf import PdfReader

# Above this, in points from the lower edge, stands what is no foot line.
FOOT = 36.0
# A heading is bold and at least this large.
HEADING = 9.0


@dataclass(frozen=True, slots=True)
class Run:
    """``size`` as it is on paper, in points; ``y`` from the lower edge."""

    text: str
    size: float
    face: str
    y: float


def read_pages(content: bytes | BytesIO) -> list[list[Run]]:
    """The runs of each page in the order in which they are drawn."""
    return [
        _runs(page) for page in PdfReader(BytesIO(content) if isinstance(content, bytes) else content).pages
    ]


def _runs(page: Any) -> list[Run]:
    found: list[Run] = []

    def take(text: str, at: list[float], line: list[float], face: dict[str, Any] | None, size: float) -> None:
        if text.strip():
            scale = abs(at[3] * line[3])
            name = str((face or {}).get("/BaseFont", "")).lstrip("/")
            found.append(Run(text, size * scale, name, at[5] + at[3] * line[5]))

    page.extract_text(visitor_text=take)
    return found


def heading_alone(pages: list[list[Run]]) -> list[str]:
    """Headings below which nothing stands on their page."""
    alone = []
    for page in pages:
        from_below = sorted((run for run in page if run.y > FOOT), key=lambda run: run.y)
        lowest = [run.text.strip() for run in takewhile(_heads, from_below)]
        words = " ".join(reversed(lowest))
        # The word on the sums is large too; it opens nothing.
        if words and not words.startswith("Ties"):
            alone.append(words)
    return alone


def _heads(run: Run) -> bool:
    return "Bold" in run.face and run.size >= HEADING
