"""Key to fill and (key + fill) to fill carry their uncertainty wherever they are shown."""

from __future__ import annotations

import math

import pytest
from small_sets import light, placed, read, view
from uncertainties import ufloat, umath

from meterlink.cli.ratios import summary_lines
from meterlink.judging.judged_set import JudgedSet
from meterlink.records import Calibration
from meterlink.report.page import ratio_words
from meterlink.tables.ratios import ratio_table
from meterlink.words.told import plain

LIGHTS = [light(0, "KEY", "key"), light(1, "FILL", "fill"), light(2, "CARD", "fill")]


def a_set(**key: object) -> JudgedSet:
    """A key and two fills, at distances whose corrections are not equally sure."""
    places = [placed(0), placed(1, distance_m=2.0), placed(2, distance_m=0.8)]
    held = {"held_off_m": 0.1, "u_held_off_m": 0.02}
    seen = view(LIGHTS, places, [read(0, 160.0, **key), read(1, 30.0, **held), read(2, 20.0, **held)])
    return seen._replace(calibrations={"c": Calibration("c", "x", 0.0, 330.0)})


def test_both_ratios_have_the_propagated_uncertainty() -> None:
    """As the uncertainties package propagates it (k=2, in stops); the fills' own doubts add, each with its share."""
    seen = a_set()
    table = ratio_table(seen)
    key, one, two = (ufloat(s.value, s.value * s.judged.u_stops * math.log(2)) for s in seen.lights)
    for ratio, got in ((key / (one + two), table.key_to_fill_u95_stops), ((key + one + two) / (one + two), None)):
        expected = 2 * (umath.log(ratio) / math.log(2)).s
        assert (table.key_and_fill_to_fill_u95_stops if got is None else got) == pytest.approx(expected, rel=1e-9)
    data = plain(table)
    assert data["key_to_fill_u95_stops"] == table.key_to_fill_u95_stops
    assert data["lighting_ratio_doubtful"] is False


def test_the_words_carry_it_within_80_columns() -> None:
    """Terminal and sheet say the same ratio with its interval; no line of the terminal is wider than 80 columns."""
    seen = a_set()
    table = ratio_table(seen)
    incident, high_low = table.lighting_ratio_words
    assert f"± {max(0.1, table.key_to_fill_u95_stops):.1f} stop" in incident
    lines = [line for line in summary_lines(seen.setup, table) if "fill" in line]
    assert incident in lines[0]
    assert high_low in lines[1]
    assert all(len(line) <= 80 for line in lines[:2])
    assert ratio_words(table).count("±") == 2


def test_a_retake_in_either_light_marks_both_ratios() -> None:
    """A key that was clipped puts both ratios in doubt, in words and in JSON; without fill there is nothing to doubt."""
    table = ratio_table(a_set(clipped=True))
    assert table.lighting_ratio_doubtful
    assert all("(retake)" in words for words in table.lighting_ratio_words)
    wide = ratio_table(a_set(held_off_m=None, u_held_off_m=None))
    assert wide.lighting_ratio_doubtful is (wide.rows[0].verdict == "retake")
    lone = ratio_table(view(LIGHTS[:1], [placed(0)], [read(0, 160.0)]))
    assert lone.lighting_ratio_words == ("", "")
    assert not lone.lighting_ratio_doubtful
