"""Verdicts told apart in the pixels: by shape alone at 1.5 mm, and by eyes that lack one kind of cone.

Colour-blindness is simulated by the matrices of Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation
of Color Vision Deficiency", IEEE TVCG 15(6), 2009 (severity 1.0), as the library colour-science carries them, in linear sRGB.
"""

from __future__ import annotations

import warnings
from contextlib import closing
from itertools import combinations

import numpy as np
import pytest

from tests.touch.hands import Phone
from tests.touch.looking import ratio

VERDICTS = ("good", "corrected", "retake", "none")
SMALL_DP = 9.4
"""1.5 mm at 160 dots an inch: here a pixel is a dp, the coarsest screen there is."""
KINDS = {"protanopia": "Protanomaly", "deuteranopia": "Deuteranomaly", "tritanopia": "Tritanomaly"}


@pytest.fixture(scope="module")
def pictures(display: str, tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[object, dict[str, tuple[float, ...]]]]:
    """The page of all parts in both themes: picture, and the box of each mark."""
    folder = tmp_path_factory.mktemp("parts")
    found = {}
    with closing(Phone(display, folder, folder / "library.db", (1280, 800), "")) as p:
        for theme in ("amber", "paper"):
            p.wear(theme, 1.0)
            boxes = {one.name: one.box for one in p.show("parts").things if one.name.startswith("mark:")}
            found[theme] = (p.picture(folder / f"parts-{theme}.png").convert("RGB"), boxes)
    return found


def shape_of(image: object, box: tuple[float, ...]) -> np.ndarray:
    """Coverage of each pixel of a mark by its ink, 0 to 1, with the colour taken out."""
    left, top = round((box[0] + box[2]) / 2) - 6, round((box[1] + box[3]) / 2) - 6
    pixels = np.asarray(image.crop((left, top, left + 12, top + 12)), float)
    away = np.abs(pixels - pixels[0, 0]).sum(axis=2)
    return away / away.max()


def unlike(a: np.ndarray, b: np.ndarray) -> float:
    """How much of two shapes together is not in both, at the best of nine places, 0 (the same) to 1 (nothing in common)."""
    shifted = [np.roll(b, (dy, dx), (0, 1)) for dy in (-1, 0, 1) for dx in (-1, 0, 1)]
    return min(float(np.abs(a - one).sum() / np.maximum(a, one).sum()) for one in shifted)


def test_verdicts_are_told_apart_by_shape_at_a_millimetre_and_a_half(pictures) -> None:
    """Without colour, any two marks share less than two thirds of what they are drawn with."""
    for theme, (image, boxes) in pictures.items():
        shapes = {v: shape_of(image, boxes[f"mark:{v}:{SMALL_DP:g}"]) for v in VERDICTS}
        told = {pair: unlike(shapes[pair[0]], shapes[pair[1]]) for pair in combinations(VERDICTS, 2)}
        print(theme, {f"{a}/{b}": round(value, 2) for (a, b), value in told.items()})

        assert min(told.values()) > 0.34, (theme, told)


def seen_by(kind: str, colour: tuple[int, int, int]) -> tuple[int, int, int]:
    """An sRGB colour as somebody with this kind of eyes sees it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says at import that it could draw plots with another package
        import colour as science

    linear = science.models.eotf_sRGB(np.array(colour) / 255)
    matrix = np.asarray(science.CVD_MATRICES_MACHADO2010[KINDS[kind]][1.0])
    back = science.models.eotf_inverse_sRGB(np.clip(matrix @ linear, 0, 1))
    return tuple(round(float(v) * 255) for v in back)


def test_the_simulation_leaves_grey_alone_and_takes_what_it_should() -> None:
    """Grey stays grey; red and green of the same brightness come together for a deuteranope and not for a tritanope."""
    for kind in KINDS:
        assert max(abs(v - 128) for v in seen_by(kind, (128, 128, 128))) <= 2
    red, green = (200, 80, 60), (100, 130, 60)

    def apart(kind: str) -> float:
        return sum(abs(a - b) for a, b in zip(seen_by(kind, red), seen_by(kind, green), strict=True))

    assert apart("deuteranopia") < 0.5 * apart("tritanopia")


@pytest.mark.parametrize("kind", KINDS)
def test_every_verdict_stands_out_for_colour_blind_eyes(pictures, kind: str) -> None:
    """The ink of each mark keeps 3:1 from its ground (WCAG 2.2, 1.4.11), so that its shape can be seen."""
    for theme, (image, boxes) in pictures.items():
        for verdict in VERDICTS:
            left, top, right, bottom = (round(v) for v in boxes[f"mark:{verdict}:24"])
            colours = sorted(image.crop((left, top, right, bottom)).getcolors(1 << 12), reverse=True)
            ground = colours[0][1]
            ink = max((c for n, c in colours if n >= 3), key=lambda c: ratio(c, ground))

            assert ratio(seen_by(kind, ink), seen_by(kind, ground)) >= 3.0, (theme, verdict)
