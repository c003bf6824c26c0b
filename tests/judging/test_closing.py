"""What closes a difference: dials with their steps, distances by the source's falloff, both."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq
from small_sets import light, placed

from meterlink.judging.power_curve import learn_power
from meterlink.photometry.sources import Disk
from meterlink.tables.adjustment import (
    FARTHEST_M,
    NEAREST_M,
    close,
    distance_for,
    move_told,
    placement_changes,
)

HEAD = light(0, "KEY", "key", power_step_stops=0.1, power_min_stops=-6.0)
THIRDS = light(0, "KEY", "key", power_step_stops=1 / 3, power_min_stops=-6.0)
STANDS = placed(0, power_stops=-2.0, power_text="1/4")


def test_a_dial_of_tenths_closes_to_half_a_tenth() -> None:
    """0.33 stop more is three tenths of the dial; three hundredths stay and nobody is sent to move the stand."""
    move = close(HEAD, STANDS, 0.33)

    assert move.power_stops == pytest.approx(-1.7)
    assert move.distance_m is None
    assert move.left_over_stops == pytest.approx(0.03)
    assert move.feasible


def test_what_a_coarse_step_leaves_is_closed_by_a_small_move() -> None:
    """0.5 stop less on a dial of thirds: two thirds down and a little closer, or one third and a little farther."""
    move = close(THIRDS, STANDS, -0.5)

    assert move.power_stops is not None
    assert move.distance_m is not None
    assert abs(move.left_over_stops) < 0.03


def test_at_the_end_of_the_range_distance_does_the_rest() -> None:
    """Three stops more than quarter power: full power gives two, the last one comes from nearer."""
    move = close(HEAD, STANDS, 3.0)

    assert move.power_stops == 0.0
    # The distance from which the disk's own falloff (H. C. Hottel's disk factor R²/(R²+d²)) makes it one stop.
    d = brentq(lambda x: math.log2((0.45**2 + 1.2**2) / (0.45**2 + x * x)) - 1.0, 0.3, 1.2)
    assert move.distance_m == pytest.approx(d, abs=0.006)
    assert move.feasible


def test_what_cannot_be_reached_says_so_with_the_nearest() -> None:
    """Nine stops more are beyond dial and distance: the nearest is full power, as near as a face allows."""
    move = close(HEAD, STANDS, 9.0)

    assert not move.feasible
    assert (move.power_stops, move.distance_m) == (0.0, NEAREST_M)
    assert "off" in str(move_told(HEAD, move))


def test_power_alone_names_the_end_of_the_range() -> None:
    """With ``by`` power the stand stays, and the end that was reached is named with what is missing."""
    up, down = close(HEAD, STANDS, 3.0, by="power"), close(HEAD, STANDS, -6.0, by="power")

    assert (up.distance_m, str(up.why_short)) == (None, "full power is reached 1.0 stop short")
    assert str(down.why_short) == "its lowest power is reached 2.0 stops too bright"


def test_distance_alone_leaves_the_dial() -> None:
    """With ``by`` distance the dial is not touched."""
    move = close(HEAD, STANDS, 0.5, by="distance")

    assert move.power_stops is None
    assert move.distance_m is not None
    assert move.distance_m < 1.2
    assert placement_changes(move) == {"distance_m": move.distance_m}


def test_a_reflector_has_no_dial() -> None:
    """A passive reflector is moved, never turned; power alone says why it cannot."""
    card = light(1, "CARD", "fill", source_light_id="l0")
    stands = placed(1, power_stops=None)

    assert close(card, stands, 0.5).power_stops is None
    assert close(card, stands, 0.5).distance_m is not None
    assert close(card, stands, 0.5, by="power").why_short.code == "reflector_no_power"


def test_without_power_and_distance_nothing_can_be_told() -> None:
    """Neither dial nor tape: the sentence says which is missing."""
    move = close(HEAD, placed(0, distance_m=None), 0.5)

    assert move.empty
    assert "distance is not given" in str(move_told(HEAD, move))


def test_a_learnt_dial_is_turned_by_what_it_delivers() -> None:
    """A dial that delivers 0.8 of its steps is turned 1.25 times as far."""
    readings = [(p, 10.0 + 0.8 * p, 0.01, "same stand") for p in (-4.0, -3.0, -2.0, -1.0, 0.0) for _ in range(3)]
    curve = learn_power(readings)

    move = close(HEAD, STANDS, -1.0, curve=curve)

    assert move.power_stops == pytest.approx(-3.2, abs=0.11)
    assert move.achieved_stops == pytest.approx(-1.0, abs=0.06)
    assert move.learnt


@given(stops=st.floats(-3.0, 1.5), diameter=st.floats(0.1, 1.5), start=st.floats(0.6, 4.0))
def test_distances_agree_with_a_root_finder(stops: float, diameter: float, start: float) -> None:
    """The distance found gives what was asked by the disk's closed form, to the centimetre that a tape shows (scipy.brentq)."""
    stands = placed(0, width_m=diameter, distance_m=start)
    disk = Disk(diameter)
    found = distance_for(stands, stops)
    assert found is not None
    low, high = min(NEAREST_M, start), max(FARTHEST_M, start)
    if disk.change_stops(start, low) > stops > disk.change_stops(start, high):
        assert found == pytest.approx(brentq(lambda d: disk.change_stops(start, d) - stops, low, high), abs=0.0051)
    else:
        assert found in (low, high)


@given(wanted=st.floats(-8.0, 8.0), now=st.integers(-60, 0), step=st.sampled_from([0.1, 1 / 3, 0.5, 1.0]))
def test_a_dial_is_never_turned_beyond_its_range(wanted: float, now: int, step: float) -> None:
    """Whatever is asked, the new power lies on the dial's steps within its range and comes as near as any step does."""
    head = light(0, "KEY", "key", power_step_stops=step, power_min_stops=-6.0)
    power = max(-6.0, round(round(now / 10 / step) * step, 6))
    move = close(head, placed(0, power_stops=power), wanted, by="power")
    new = power if move.power_stops is None else move.power_stops

    assert -6.0 <= new <= 0.0
    assert move.power_stops is None or abs(new / step - round(new / step)) < 1e-4
    if move.feasible:
        assert abs(move.left_over_stops) <= step / 2 + 1e-3


def test_the_sentence_says_what_to_do() -> None:
    """Direction, new power in the fixture's own scale, and how far to carry it."""
    move = close(THIRDS, STANDS, -0.5)
    said = str(move_told(THIRDS, move, STANDS))

    assert said.startswith("KEY: power down to 1/8")
    assert "cm closer, to 1." in said or "cm farther, to 1." in said
