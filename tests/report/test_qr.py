"""The square's letters: packed and unpacked, and what is not one of ours."""

from __future__ import annotations

import base64
import re

import pytest
import segno
from hypothesis import given
from hypothesis import strategies as st

from meterlink.errors import ImportRefused, MeterlinkError
from meterlink.library.code import PREFIX, decode
from meterlink.report.qr import (
    BASE,
    LETTERS,
    LETTERS_MAX,
    SQUARE_PREFIX,
    STURDY_LETTERS_MAX,
    TEXT_MAX,
    packed,
    square_of,
    square_svg,
    unpacked,
)

# ISO/IEC 18004, table of the alphanumeric mode: digits, capitals, space $ % * + - . / : (from memory).
ALPHANUMERIC = set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")


def code(data: bytes) -> str:
    """A code as the library writes it."""
    return PREFIX + base64.urlsafe_b64encode(data).decode().rstrip("=")


@given(st.binary(max_size=400))
def test_what_is_packed_comes_back(data: bytes) -> None:
    """Any bytes, odd or even in number."""
    assert unpacked(packed(code(data))) == code(data)


@given(st.binary(min_size=1, max_size=200))
def test_it_is_packed_in_the_letters_that_a_square_holds_best(data: bytes) -> None:
    """Only characters of the alphanumeric mode, none that a shell or a line of text would swallow; segno chooses that mode."""
    text = packed(code(data))

    assert set(text) <= ALPHANUMERIC - set(" $%*")
    assert segno.make_qr(text).mode == "alphanumeric"


def test_the_base_covers_two_bytes_in_three_letters() -> None:
    """41³ is more than 65,536 and 41² more than 256."""
    assert len(set(LETTERS)) == len(LETTERS) == BASE == 41
    assert BASE**3 >= 65536
    assert BASE**2 >= 256


def test_line_breaks_and_blanks_of_a_copy_do_no_harm() -> None:
    """Readers and mails break lines."""
    text = packed(code(b"some bytes of a set-up"))

    assert unpacked("  " + text[:20] + "\n " + text[20:] + "\n") == code(b"some bytes of a set-up")


def test_other_texts_are_left_to_the_next_reader() -> None:
    """A code in the library's own letters goes through untouched."""
    assert unpacked("meterlink1.abc") == "meterlink1.abc"
    assert unpacked("nonsense") == "nonsense"


BAD = ["METERLINK1:0", "METERLINK1:::", "METERLINK1:+++", "METERLINK1:a%b", "METERLINK1:" + "0" * TEXT_MAX, "METERLINK1:ÄÖÜ"]


@pytest.mark.parametrize("text", BAD)
def test_damaged_squares_are_refused_in_one_line(text: str) -> None:
    """Cut, out of range, foreign letters, too long: one line that says what to do."""
    with pytest.raises(ImportRefused, match="again"):
        decode(unpacked(text))


@given(st.text(alphabet=LETTERS + " ab$\n", max_size=300))
def test_no_text_gets_through_as_anything_but_an_error(text: str) -> None:
    """Random letters behind our prefix end in our own error."""
    with pytest.raises(MeterlinkError):
        decode(unpacked(SQUARE_PREFIX + text))


def test_a_square_that_no_phone_could_read_is_not_made() -> None:
    """149 modules, half a millimetre each, at most: version 33 of ISO/IEC 18004; up to version 25 with the sturdier correction."""
    assert segno.make_qr("A" * LETTERS_MAX, error="l", boost_error=False).version == 33
    assert segno.make_qr("A" * (LETTERS_MAX + 1), error="l", boost_error=False).version == 34
    assert segno.make_qr("A" * STURDY_LETTERS_MAX, error="m", boost_error=False).version == 25
    assert segno.make_qr("A" * (STURDY_LETTERS_MAX + 1), error="m", boost_error=False).version == 26
    assert square_svg("A" * (LETTERS_MAX + 1)) == square_svg("A" * 10000) == ""
    sides = [side(square_svg("A" * n)) for n in (STURDY_LETTERS_MAX, STURDY_LETTERS_MAX + 1, LETTERS_MAX)]
    assert sides == [117 + 8, 105 + 8, 149 + 8]


def side(svg: str) -> int:
    """Modules of a square with its quiet edge of four."""
    return int(re.search(r'viewBox="0 0 (\d+) ', svg)[1])


def test_readings_stay_behind_before_the_places_do(five, twelve) -> None:
    """Five lights go with their readings, twelve without."""
    assert square_of(five.library, five.setup.id)[1] == "readings"
    assert square_of(twelve.library, twelve.setup.id)[1] == "places"
