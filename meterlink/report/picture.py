"""The small copy of a reference photograph that travels with a set-up, as text.

It is made once, from a file that the photographer names; the sheet prints only this copy and never opens a path that
a set-up brings along.  Whatever comes from somebody else's library is decoded and written anew before it goes on a page.
"""

from __future__ import annotations

import base64
import binascii
import io
import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from meterlink.errors import UsageError
from meterlink.library.files import is_file
from meterlink.photometry.card import level, linear
from meterlink.words.language import marked, translated

if TYPE_CHECKING:
    from PIL import Image

SIDE_PX = 420
"""Longer side: about 36 mm on paper at 300 dots an inch."""
TEXT_MAX = 60_000
"""Characters of the copy; a set-up's facts together hold 100,000."""
FILE_MAX = 200 * 2**20
PIXELS_MAX = 400_000_000
UNEVEN, COLOURED = 12, 40
"""Levels that a lit card may differ over the middle, and its colours from each other: 0.2 stop, and a lamp of another colour."""
_PREFIX = "data:image/jpeg;base64,"
_SHAPE = re.compile(re.escape(_PREFIX) + r"[A-Za-z0-9+/]+={0,2}", re.ASCII)


def small_picture(path: Path) -> str:
    """Return a small JPEG of a picture file as ``data:`` text.  Raises UsageError in one line for anything else."""
    advice = marked("give a photograph as JPEG, PNG, WebP or TIFF")
    if not is_file(path) or path.stat().st_size > FILE_MAX:
        raise UsageError(
            "{path}: there is no such picture, or it is too large: {advice}", path=path.name[:80], advice=translated(advice)
        )
    with _opened(path, path.name, advice, "JPEG", "PNG", "WEBP", "TIFF") as image:
        return _text(image)


def card_level(path: Path) -> float:
    """Return the level, 0 to 255 in sRGB, of a neutral card that fills the middle fifth of a picture.

    Raises UsageError in one line for what is no picture, and for a middle that is not one even grey: clipped, coloured or in part
    something else.
    """
    from PIL import Image

    with _opened(path, path.name, marked("give the frame as JPEG in sRGB"), "JPEG", "PNG", "TIFF") as image:
        rgb = image.convert("RGB")
        left, top = int(rgb.width * 0.4), int(rgb.height * 0.4)
        middle = rgb.crop((left, top, max(int(rgb.width * 0.6), left + 1), max(int(rgb.height * 0.6), top + 1)))
        small = middle.resize((4, 4), Image.Resampling.BOX).tobytes()
    cells = [small[i : i + 3] for i in range(0, len(small), 3)]
    greens = [g for _, g, _ in cells]
    uneven = max(greens) - min(greens) > UNEVEN or any(max(cell) - min(cell) > COLOURED for cell in cells)
    if uneven or max(greens) >= 250:
        raise UsageError(
            "{path}: the middle fifth is not one even grey: let the card fill it, evenly lit, white balance set on it",
            path=path.name[:80],
        )
    return level(math.fsum(0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b) for r, g, b in cells) / len(cells))


def safe_picture(value: object) -> str:
    """Return a kept copy, written anew, for a page; empty when it is none or nothing that decodes."""
    if not isinstance(value, str) or len(value) > TEXT_MAX or not _SHAPE.fullmatch(value):
        return ""
    try:
        data = base64.b64decode(value.removeprefix(_PREFIX), validate=True)
        with _opened(io.BytesIO(data), "", "", "JPEG") as image:
            return _text(image)
    except (binascii.Error, UsageError):
        return ""


@contextmanager
def _opened(file: Path | io.BytesIO, name: str, advice: str, *formats: str) -> Iterator[Image.Image]:
    """Open a picture, to be read about as large as its copy.  Raises UsageError in one line for what cannot be read to the end."""
    from PIL import Image

    try:
        with Image.open(file, formats=formats) as image:
            if image.width * image.height > PIXELS_MAX:
                raise UsageError("the picture has too many pixels: give a smaller one")
            image.draft("RGB", (2 * SIDE_PX, 2 * SIDE_PX))
            yield image
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise UsageError("{path} cannot be read as a picture: {advice}", path=name[:80], advice=translated(advice)) from error


def _text(image: Image.Image) -> str:
    from PIL import ImageOps

    # Turned as the camera was held; place, camera and owner that the file may carry stay behind.
    upright = ImageOps.exif_transpose(image).convert("RGB")
    upright.thumbnail((SIDE_PX, SIDE_PX))
    for quality in (75, 55, 35):
        out = io.BytesIO()
        upright.save(out, "JPEG", quality=quality, optimize=True)
        text = _PREFIX + base64.b64encode(out.getvalue()).decode()
        if len(text) <= TEXT_MAX:
            return text
    raise UsageError("the picture cannot be made small enough: give a simpler one")
