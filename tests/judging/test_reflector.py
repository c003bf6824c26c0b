"""A passive reflector is the difference of two pops that were metered in one way."""

from __future__ import annotations

from typing import Any

import pytest
from small_sets import light, placed, read, view

from meterlink.judging.judged_set import LightState
from meterlink.judging.standing import difference
from meterlink.judging.verdict import RETAKE
from meterlink.records import Reading

KEY, CARD = light(0, "KEY", "key"), light(1, "CARD", "fill", source_light_id="l0")
PLACES = [placed(0, azimuth_deg=40.0), placed(1, azimuth_deg=-60.0, distance_m=0.8)]
WITH, WITHOUT = {"purpose": "with", "aim": "camera"}, {"purpose": "without", "aim": "camera"}


def card(with_it: dict[str, Any], without_it: dict[str, Any]) -> LightState:
    """The card of a set whose two pops were made as said."""
    high, low = read(1, 250.0, order=1, **WITH), read(1, 200.0, order=2, **WITHOUT)
    return judged(read(0, 200.0), high._replace(**with_it), low._replace(**without_it))


def judged(*readings: Reading) -> LightState:
    """The card, judged; both lights stood before anything was metered, as ids sort by time."""
    stood = [place._replace(id=f"{0:016d}{i}") for i, place in enumerate(PLACES)]
    mine = [one._replace(placement_id=stood[int((one.light_id or "l0")[1:])].id) for one in readings]
    return view([KEY, CARD], stood, mine).lights[1]


def test_two_pops_alike_are_a_reading() -> None:
    """250 with it and 200 without: 50 lx·s are its own."""
    assert card({}, {}).reading.exposure_lxs == pytest.approx(50.0)


@pytest.mark.parametrize(
    "changes",
    [
        {"aim": "light"},
        {"held_off_m": 0.2},
        {"held_off_m": None},
        {"held_off_toward": "camera"},
        {"calibration_id": "another"},
        {"receptor": "flat"},
        {"kind": "steady", "illuminance_lx": 200.0},
    ],
    ids=str,
)
def test_pops_that_were_metered_differently_are_not_subtracted(changes: dict[str, Any]) -> None:
    """Another aim, distance, direction, calibration or receptor in one of them, either of them: no number, and what to do."""
    for state in (card({}, changes), card(changes, {})):
        assert state.reading is None
        assert state.missing == "its two pops were metered differently, both are taken again: meterlink meter CARD"


@pytest.mark.parametrize(("apart_m", "alike"), [(0.012, True), (0.05, False)])
def test_measured_distances_are_alike_within_what_they_are_known_to(apart_m: float, alike: bool) -> None:
    """A range finder never measures the same figure twice: 1.2 cm apart with 1 cm (k=1) each is one place, 5 cm is not."""
    first, second = {"held_off_m": 0.03, "u_held_off_m": 0.01}, {"held_off_m": 0.03 + apart_m, "u_held_off_m": 0.01}

    assert (card(first, second).reading is not None) is alike
    assert (card(second, first).reading is not None) is alike


@pytest.mark.parametrize("flaw", ["clipped", "too_dim"])
def test_one_flawed_pop_marks_the_difference(flaw: str) -> None:
    """A pop that was clipped or too dim spoils the difference, whichever of the two it was."""
    good, bad = read(1, 250.0), read(1, 200.0, **{flaw: True})

    assert not getattr(difference(good, good._replace(exposure_lxs=200.0)), flaw)
    assert getattr(difference(good, bad), flaw)
    assert getattr(difference(bad._replace(exposure_lxs=300.0), good), flaw)
    assert card({flaw: True}, {}).judged.verdict == RETAKE
    assert card({}, {flaw: True}).judged.verdict == RETAKE


def test_the_sources_own_reading_stands_in_only_when_it_was_made_alike() -> None:
    """Without a pop without it, the key's own reading is taken off, if it was aimed, held and calibrated as the pop with it."""
    both = read(1, 250.0, order=1, purpose="with")

    def alone(**fields: Any) -> LightState:
        return judged(read(0, 200.0)._replace(**fields), both)

    assert alone().reading.exposure_lxs == pytest.approx(50.0)
    for changes in ({"aim": "camera"}, {"held_off_m": 0.1}, {"calibration_id": "another"}):
        assert alone(**changes).reading is None
        assert "its pop without it is missing" in alone(**changes).missing
