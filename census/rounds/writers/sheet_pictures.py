"""Pictures of animals as a printed sheet shows them: grey, for that is how most of them are copied."""

from io import BytesIO

from PIL import Image, ImageOps
from reportlab.lib.colors import black
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

# Room for a picture, in points: some 17 by 12 mm. With it a line is a little higher, and never cut.
WIDE, HIGH = 48.0, 34.0
# Sides in px are no longer than this: 300 to the inch.
_MOST = 200


class SmallPicture:
    """One picture, drawn grey from darkest to lightest so that it prints on anything."""

    def __init__(self, content: bytes) -> None:
        with Image.open(BytesIO(content)) as found:
            grey = ImageOps.autocontrast(ImageOps.grayscale(found))
        grey.thumbnail((_MOST, _MOST))
        scale = min(WIDE / grey.width, HIGH / grey.height)
        self.width, self.height = grey.width * scale, grey.height * scale
        self._image = ImageReader(grey)

    def draw(self, canvas: Canvas, right: float, top: float) -> None:
        """With its upper right corner there, in a thin frame."""
        x, y = right - self.width, top - self.height
        canvas.drawImage(self._image, x, y, self.width, self.height)
        canvas.setStrokeColor(black)
        canvas.setLineWidth(0.4)
        canvas.rect(x, y, self.width, self.height)


def small_picture(content: bytes | None) -> SmallPicture | None:
    """None for no picture, and for a file that is none."""
    if content is None:
        return None
    try:
        return SmallPicture(content)
    except OSError:
        return None
