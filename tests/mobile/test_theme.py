"""Colours that can be told and read, targets that can be hit: measured from the theme itself."""

from __future__ import annotations

import pytest

from mobile import fonts, theme

_READ = ("ink", "quiet", "strong", "good", "corrected", "retake", "simulated")
TEXT_PAIRS = (*((front, back) for back in ("ground", "raised", "face") for front in _READ), ("over_strong", "strong"))
EDGE_PAIRS = (("edge", "ground"), ("edge", "raised"), ("strong", "ground"), ("strong", "raised"))


def contrast(a: theme.Rgb, b: theme.Rgb) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (WCAG 2.2, definitions of contrast ratio and relative luminance)."""
    high, low = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _luminance(colour: theme.Rgb) -> float:
    red, green, blue = (_linear(channel / 255) for channel in colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(channel: float) -> float:
    return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4


@pytest.mark.parametrize(
    ("front", "back", "ratio"),
    [
        ((0, 0, 0), (255, 255, 255), 21.0),
        ((255, 255, 255), (255, 255, 255), 1.0),
        # Widely published worked examples of the WCAG formula, from memory: #767676, #0000FF and #FF0000 on white.
        ((118, 118, 118), (255, 255, 255), 4.54),
        ((0, 0, 255), (255, 255, 255), 8.59),
        ((255, 0, 0), (255, 255, 255), 4.00),
    ],
)
def test_contrast_follows_the_published_definition(front: theme.Rgb, back: theme.Rgb, ratio: float) -> None:
    """The contrast of known pairs is what WCAG's definition gives (relative luminance of sRGB, plus 0.05)."""
    assert contrast(front, back) == pytest.approx(ratio, abs=0.005)


@pytest.mark.parametrize("name", sorted(theme.THEMES))
@pytest.mark.parametrize("pair", TEXT_PAIRS)
def test_every_text_has_contrast_enough_to_read(name: str, pair: tuple[str, str]) -> None:
    """Each text colour stands at least 4.5:1 from what lies behind it (WCAG 2.2, success criterion 1.4.3)."""
    front, back = (getattr(theme.THEMES[name], part) for part in pair)

    assert contrast(front, back) >= 4.5


@pytest.mark.parametrize("name", sorted(theme.THEMES))
@pytest.mark.parametrize("pair", EDGE_PAIRS)
def test_every_edge_of_a_target_can_be_seen(name: str, pair: tuple[str, str]) -> None:
    """Outlines of things to touch stand at least 3:1 from what lies behind (WCAG 2.2, success criterion 1.4.11)."""
    front, back = (getattr(theme.THEMES[name], part) for part in pair)

    assert contrast(front, back) >= 3.0


def test_every_colour_that_carries_text_is_measured() -> None:
    """No colour of the theme but grounds, edges and ornaments escapes the list of measured pairs."""
    measured = {name for pair in (*TEXT_PAIRS, *EDGE_PAIRS) for name in pair}

    assert set(theme.Theme._fields) - {"name", "line"} == measured


def test_the_last_pop_can_be_read_from_two_metres() -> None:
    """Capitals of the figure fill at least 20 minutes of arc at 2 m (ISO 9241-303, from memory): 11.6 mm at 160 dots an inch."""
    height_mm = theme.FIGURE * theme.CAP_HEIGHT * 25.4 / 160

    assert height_mm >= 11.6


def test_targets_are_as_large_as_a_finger_needs() -> None:
    """48 dp: about 7.6 mm on the screen."""
    assert theme.TARGET >= 48


@pytest.mark.parametrize("text", ["KEY", "Größe ±0.3 – f/8", "Ключ", "Κλειδί", "f/5.6 × 1.4 ≥ ½"])
def test_common_scripts_keep_the_usual_font(text: str) -> None:
    """Latin, Greek, Cyrillic and the signs of the trade are in the first font."""
    assert fonts.font_for(text) == fonts.USUAL


@pytest.mark.parametrize("text", ["↑", "⅓", "■ KEY"])
def test_other_signs_get_a_font_that_has_them(text: str) -> None:
    """Arrows, fractions and further scripts use the font with the wider range."""
    assert fonts.font_for(text) == fonts.WIDE


def test_names_from_right_to_left_are_joined_and_turned() -> None:
    """Arabic letters take their joined forms and stand in the order of the screen; Hebrew is turned; Latin stays as typed.

    The forms are Unicode's presentation forms (chart FE70): beh initial FE91, alef final FE8E, beh isolated FE8F.
    """
    assert fonts.shaped("باب") == "\ufe8f\ufe8e\ufe91"
    assert fonts.shaped("שלום") == "םולש"
    assert fonts.shaped("KEY 2") == "KEY 2"


def test_a_text_of_two_scripts_is_drawn_in_two_fonts() -> None:
    """Each run has its font, and marks of the markup that a person typed are drawn, not obeyed."""
    runs = fonts.runs("KEY ↑")

    assert [font for font, _part in runs] == [fonts.USUAL, fonts.WIDE]
    assert fonts.marked("KEY") == ""
    assert "&bl;b&br;" in fonts.marked("[b] ↑")


def test_three_sizes_of_text_stand_beside_the_figure_on_a_grid_of_eight() -> None:
    """Nothing below 14 dp, secondary text 16 dp, one larger size; gaps, edges and targets are multiples of 8 dp."""
    assert theme.MARK == 14
    assert theme.NOTE == 16
    assert theme.MARK < theme.NOTE < theme.BODY < theme.FIGURE
    assert [size % 8 for size in (theme.GAP, theme.PAD, theme.TARGET)] == [0, 0, 0]
