"""The square on the sheet: a set-up's code in the letters that a QR symbol packs best.

QR symbols (ISO/IEC 18004) hold capitals, digits and a few signs in 5.5 bits each, other text in 8.  Two bytes are
written as three characters of a base of 41 (41³ = 68,921 covers 65,536), a base without the signs that a shell or a line
of text would swallow: a third fewer modules than base64, so that a phone can still tell them apart on paper.
"""

from __future__ import annotations

import base64
import io

from meterlink.errors import ImportRefused
from meterlink.library.code import PREFIX, encode, slim_document
from meterlink.library.store import Library

SQUARE_PREFIX = "METERLINK1:"
LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-./:+"
BASE = len(LETTERS)
LETTERS_MAX = 3009
"""What version 33 holds at error correction L (ISO/IEC 18004, table 7): its 149 modules are still half a millimetre each at 70 mm,
which a phone reads from paper."""
STURDY_LETTERS_MAX = 1451
"""Up to version 25 there is room for the sturdier error correction (M, 15 %); beyond L (7 %) keeps the modules larger."""
TEXT_MAX = 8192


def packed(code: str) -> str:
    """Return a set-up's code (``meterlink1.…``) in the square's letters."""
    body = code.removeprefix(PREFIX)
    data = base64.urlsafe_b64decode(body + "=" * (-len(body) % 4))
    out = []
    for i in range(0, len(data) - 1, 2):
        value = data[i] * 256 + data[i + 1]
        out += [LETTERS[value % BASE], LETTERS[value // BASE % BASE], LETTERS[value // BASE**2]]
    if len(data) % 2:
        out += [LETTERS[data[-1] % BASE], LETTERS[data[-1] // BASE]]
    return SQUARE_PREFIX + "".join(out)


def unpacked(text: str) -> str:
    """Return the code that a square's text stands for; any other text is returned as it is.  Raises ImportRefused."""
    plain = "".join(text[: 2 * TEXT_MAX].split())
    if not plain.upper().startswith(SQUARE_PREFIX):
        return text
    damaged = ImportRefused("the square's text is damaged: scan the square on the sheet again")
    body = plain[len(SQUARE_PREFIX) :]
    if len(plain) > TEXT_MAX or len(body) % 3 == 1:
        raise damaged
    out = bytearray()
    for i in range(0, len(body), 3):
        part = [LETTERS.find(letter) for letter in body[i : i + 3]]
        value = sum(digit * BASE**n for n, digit in enumerate(part))
        size = 2 if len(part) == 3 else 1
        if min(part) < 0 or value >= 256**size:
            raise damaged
        out += value.to_bytes(size, "big")
    return PREFIX + base64.urlsafe_b64encode(bytes(out)).decode().rstrip("=")


def square_of(library: Library, setup_id: str) -> tuple[str, str]:
    """Return (SVG of the square, what it carries: ``readings``, ``places`` or nothing) of a set-up.

    With the readings where they fit a square that can be read, else without; both empty when even that is too much.
    """
    for readings, what in ((True, "readings"), (False, "places")):
        svg = square_svg(packed(encode(slim_document(library, setup_id, readings=readings))))
        if svg:
            return svg, what
    return "", ""


def square_svg(text: str) -> str:
    """Return the QR symbol of a text in the square's letters as an SVG element; empty when paper could not be read so dense."""
    import segno

    if len(text) > LETTERS_MAX:
        return ""
    code = segno.make_qr(text, error="m" if len(text) <= STURDY_LETTERS_MAX else "l", mode="alphanumeric", boost_error=False)
    out = io.BytesIO()
    code.save(out, kind="svg", scale=1, border=4, xmldecl=False, svgns=True, omitsize=True)
    return out.getvalue().decode()
