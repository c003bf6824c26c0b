"""Colour of lights: round trips, refusals, corrections, sensor matrices."""

from __future__ import annotations

import math
import runpy
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlink.photometry import colour, colour_tables


@given(st.floats(1700, 24_500), st.floats(-0.03, 0.003))
def test_cct_and_duv_round_trip(kelvin, duv):
    """A chromaticity made from CCT and Duv gives them back, over the whole range."""
    found_k, found_duv = colour.cct(*colour.xy_of_cct(kelvin, duv))

    assert 1e6 / found_k == pytest.approx(1e6 / kelvin, abs=2e-3)
    assert found_duv == pytest.approx(duv, abs=1e-8)


def test_tables_are_what_their_script_makes():
    """The tables of the loci are not edited: the script makes the very same text."""
    pytest.importorskip("colour")
    script = runpy.run_path(str(Path(__file__).with_name("make_colour_tables.py")))
    assert Path(colour_tables.__file__).read_text(encoding="utf-8") == script["source"]()


@pytest.mark.parametrize("xy", [(0.8, 0.3), (0.1, 0.1), (0.0, 0.0), (-0.1, 0.3), (0.3, 1.2), (1e9, 1e9)])
def test_colours_outside_the_diagram_are_refused(xy):
    """No light has a chromaticity outside of the spectral locus."""
    assert not colour.inside_diagram(*xy)
    with pytest.raises(ValueError, match="outside the diagram"):
        colour.cct(*xy)


@pytest.mark.parametrize("xy", [(0.2, 0.7), (0.16, 0.03), (0.7, 0.29), (0.24, 0.22)])
def test_colours_without_meaningful_cct_are_refused(xy):
    """Green, violet, deep red and what is bluer than 25 000 K have no CCT."""
    with pytest.raises(ValueError, match="no meaningful CCT"):
        colour.cct(*xy)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
def test_numbers_that_are_none_are_refused(bad):
    """NaN and infinite values raise ValueError everywhere."""
    for call in (
        lambda: colour.cct(bad, 0.3),
        lambda: colour.cct(0.3, bad),
        lambda: colour.xy_of_cct(bad),
        lambda: colour.mired(bad),
        lambda: colour.kelvin(bad),
        lambda: colour.xy_of_xyz([bad, 1.0, 1.0]),
        lambda: colour.mix([(0.3, 0.3, bad)]),
    ):
        with pytest.raises(ValueError):
            call()


def test_mix_lies_between():
    """Two lights of one colour mix to it; two of different colours lie on the line between, nearer to the stronger."""
    a, b = colour.xy_of_cct(3200), colour.xy_of_cct(5600)
    assert colour.mix([(*a, 1.0), (*a, 3.0)]) == pytest.approx(a)
    x, y = colour.mix([(*a, 10.0), (*b, 1.0)])
    assert (x - b[0]) / (a[0] - b[0]) == pytest.approx((y - b[1]) / (a[1] - b[1]))
    assert (x - b[0]) / (a[0] - b[0]) > 0.5


def test_gel_turns_one_light_into_the_other():
    """Through a gel of the stated shift a light has the wanted CCT; lower CCT is a positive shift."""
    shift = colour.gel_shift_mired(5500, 3200)

    assert shift > 0
    assert colour.kelvin(colour.mired(5500) + shift) == pytest.approx(3200)
