"""Pages that say how many there are, so that whoever holds some of them knows what is missing."""

from collections.abc import Callable
from typing import Any

from reportlab.pdfgen.canvas import Canvas

Foot = Callable[[Canvas, str], None]


def numbered(foot: Foot) -> type[Canvas]:
    """A canvas for ``canvasmaker``: each page is held back until the last is laid out, then ``foot`` is told
    "page 2 of 9" and draws below it."""

    class Numbered(Canvas):
        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
            self._held: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802 - the library's name
            self._held.append(dict(self.__dict__))
            self._startPage()  # type: ignore[attr-defined]  # its types leave it out

        def save(self) -> None:
            held = self._held
            for number, page in enumerate(held, start=1):
                self.__dict__.update(page)
                self.saveState()
                foot(self, f"page {number} of {len(held)}")
                self.restoreState()
                super().showPage()
            super().save()

    return Numbered
