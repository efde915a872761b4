"""Opens a photograph and makes of it what the house keeps: upright, smaller, without what the camera wrote.

What is kept is drawn anew on an empty sheet, so that nothing of the file goes with it: no position (EXIF,
XMP), no comment, no second file behind the first.
"""

import struct
import zlib
from dataclasses import dataclass
from io import BytesIO

from PIL import Image, ImageOps

from ..rules.pictures import PICTURE, THUMBNAIL

# A device keeps hundreds of thumbnails; 160 x 160 px of noise have 30 KiB.
LARGEST_THUMBNAIL = 100 * 1024
# A file of some kilobytes may unfold to gigabytes. 30 million take some 250 MiB; a telephone takes 12.
MOST_PIXELS = 30_000_000
FORMATS = ("JPEG", "PNG", "WEBP")
# What Pillow raises for files that are broken or made to break it.
_BROKEN = (
    *(OSError, ValueError, SyntaxError, TypeError, LookupError, EOFError, ArithmeticError, MemoryError),
    *(struct.error, zlib.error),
)


class NoPicture(Exception):
    """A file that cannot be opened as a picture; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Prepared:
    """Two JPEG files of one photograph; sides of the larger in px."""

    picture: bytes
    thumbnail: bytes
    width: int
    height: int


def prepare(name: str, content: bytes) -> Prepared:
    """The picture and its thumbnail. Raises :class:`NoPicture`."""
    try:
        with Image.open(BytesIO(content), formats=FORMATS) as opened:
            _not_too_many(name, opened.width * opened.height)
            # Decodes a JPEG at about the size that is wanted, not at its own.
            opened.thumbnail((PICTURE, PICTURE))
            whole = _redrawn(ImageOps.exif_transpose(opened))
        small = whole.copy()
        small.thumbnail((THUMBNAIL, THUMBNAIL))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as bomb:
        raise NoPicture(_too_many(name)) from bomb
    except _BROKEN as error:
        raise NoPicture(
            f"{name!r} cannot be opened as a picture. JPEG, PNG and WebP are taken; "
            "save it as one of them again, or choose another."
        ) from error
    thumbnail = _jpeg(small)
    if len(thumbnail) > LARGEST_THUMBNAIL:
        raise NoPicture(f"{name!r} cannot be made small enough for the devices; choose another picture.")
    return Prepared(_jpeg(whole), thumbnail, whole.width, whole.height)


def _not_too_many(name: str, pixels: int) -> None:
    if pixels > MOST_PIXELS:
        raise NoPicture(_too_many(name))


def _too_many(name: str) -> str:
    most = MOST_PIXELS // 1_000_000
    return f"{name!r} has more than {most} million pixels; make it smaller, or choose another."


def _redrawn(image: Image.Image) -> Image.Image:
    """The same on white, with nothing but its pixels."""
    seen = image.convert("RGBA") if image.has_transparency_data else image.convert("RGB")
    sheet = Image.new("RGB", seen.size, "white")
    sheet.paste(seen, mask=seen.getchannel("A") if seen.mode == "RGBA" else None)
    return sheet


def _jpeg(image: Image.Image) -> bytes:
    out = BytesIO()
    image.save(out, "JPEG", quality=82, optimize=True)
    return out.getvalue()
