"""Room light against the flash: judged where it matters, with what brings it down."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from small_sets import light, placed, read, view

from meterlink.checks.finders import findings, looked_at
from meterlink.checks.findings import Finding
from meterlink.checks.room_light import level, lit_parts
from meterlink.judging.judged_set import JudgedSet
from meterlink.records import Calibration, RangeScale, Reading
from meterlink.words.sentences import logged

LIGHTS = [
    light(0, "KEY", "key"),
    light(1, "FILL", "fill"),
    light(2, "BACK", "background", point="background"),
]
PLACES = [placed(i, azimuth_deg=a, shape="point", width_m=None) for i, a in ((0, 40.0), (1, -40.0), (2, 170.0))]
READ = [read(0, 160.0), read(1, 40.0), read(2, 80.0, point="background")]
TIME_S = 1 / 128


def room(lux: float, note: str = "", order: int = 20, point: str = "face", **fields: Any) -> Reading:
    """A room reading."""
    return Reading(
        f"{order:032d}", "s", None, None, "c", "x", 100.0 + order, kind="steady", purpose="room", illuminance_lx=lux,
        point=point, aim="camera", note=note, **fields,
    )  # fmt: skip


def a_set(*rooms: Reading, shutter_s: float | None = TIME_S, readings: list[Reading] | None = None, **details: Any) -> JudgedSet:
    """Key, fill two stops under it and a background, with room readings."""
    made = view(LIGHTS, PLACES, [*(READ if readings is None else readings), *rooms], details=details)
    return made._replace(setup=made.setup._replace(shutter_s=shutter_s))


def found_in(made: JudgedSet) -> list[Finding]:
    """Findings about room light, all of them plain data."""
    import meterlink.checks.finders  # noqa: F401

    found = [one for one in findings(made) if one.kind == "room_light"]
    for one in found:
        json.dumps(one.as_json(), allow_nan=False)
    return found


def lux_for(stops_below: float, exposure_lxs: float) -> float:
    """Room light that the flash exceeds by so many stops at the shutter."""
    return exposure_lxs / 2.0**stops_below / TIME_S


def test_judged_at_the_shadow_side_and_not_at_the_key() -> None:
    """A room four stops under the key is two under the fill: there it adds log2(1 + 1/4) = 0.32 stop, a fifth of the picture.

    The published form log2(1 + 1/n) with n = 4 for two stops was seen in a photographer's notes of 2012.
    """
    (found,) = found_in(a_set(room(lux_for(2.0, 40.0))))

    assert found.numbers["part"] == "shadow_side"
    assert found.numbers["flash_over_room_stops"] == pytest.approx(2.0)
    assert found.numbers["added_stops"] == pytest.approx(0.321928, abs=1e-6)
    assert found.numbers["share"] == pytest.approx(0.2)
    assert found.numbers["parts"]["key_side"] == pytest.approx(math.log2(200 / 40) + 2)
    assert "ghost of 20 %" in found.text
    assert "common practice" in found.text


def test_what_was_read_and_the_least_are_both_named() -> None:
    """A flickering room, known to 15 % (k=1): 2.0 stops as read, log2(1.3) less at the least; JSON and text give both alike."""
    (found,) = found_in(a_set(room(lux_for(2.0, 40.0), u_rel=0.15)))
    least = 2.0 - math.log2(1.3)

    assert found.numbers["flash_over_room_stops"] == pytest.approx(2.0)
    assert found.numbers["flash_over_room_least_stops"] == pytest.approx(least)
    assert "2.0 stops" in found.text
    assert f"(at the least {least:.1f} stops above it)" in found.text
    (sharp,) = found_in(a_set(room(lux_for(2.0, 40.0), u_rel=0.001)))
    assert "at the least" not in sharp.text


def test_the_light_before_the_pops_gives_both_too() -> None:
    """As seen before the pops, and the least with what the sensor's range cannot tell: named alike, text and JSON agree."""
    readings = [read(0, 160.0, ambient_lx=2000.0), *READ[1:]]
    (found,) = found_in(calibrated(a_set(readings=readings), 50_000.0))
    mean, least = found.numbers["flash_over_room_stops"], found.numbers["flash_over_room_least_stops"]
    u = found.numbers["u_room_lx"]

    assert mean == pytest.approx(math.log2(40.0 / (2000.0 * TIME_S)))
    assert least == pytest.approx(math.log2(40.0 / ((2000.0 + 2 * u) * TIME_S)))
    assert f"{mean:.1f} stops above the room" in found.text
    assert f"(at the least {least:.1f} stops above it)" in found.text


def test_clean_rooms_are_no_finding() -> None:
    """From 3.8 stops on the room adds less than a tenth of a stop and nothing is said."""
    assert found_in(a_set(room(lux_for(3.85, 40.0)))) == []
    assert len(found_in(a_set(room(lux_for(3.7, 40.0))))) == 1


def test_what_is_not_told_from_dark_counts_as_the_limit() -> None:
    """Below a thousandth of 50 klx the sensor tells nothing: the room is judged at 50 lx, lamps on or off, whatever was read."""
    rooms = (room(12.0, "lamps on"), room(9.0, "lamps off", order=21))
    made = calibrated(a_set(*rooms), 50_000.0)
    (found,) = [one for one in looked_at(made)[1] if one.kind == "room_light"]
    above = math.log2(40.0 / (50.0 * TIME_S))

    assert (level(made).below, level(made).lamps_add_lx) == (True, None)
    assert found.text.startswith(f"room light below 50 lx, so at least {above:.1f} stops below the flash at the shadow side")
    assert found.numbers["flash_over_room_stops"] == pytest.approx(above)
    said = [str(logged(one, rooms[1], None, "room")) for one in (made, calibrated(a_set(rooms[1]), 50_000.0))]
    assert said == [
        "room light below 50 lx, lamps on or off: neither can be told from dark, the checks count with that much",
        "room light below 50 lx: the checks count with that much",
    ]


def test_a_limit_that_is_too_high_is_no_ghost() -> None:
    """A coarse sensor under a weak flash: that the room may be so bright is a note, never a caution that it is."""
    (found,) = found_in(calibrated(a_set(room(0.0)), 2_000_000.0))

    assert found.text.startswith("the sensor tells only that the room light is below 2,000 lx")
    assert found.rank < 1.0
    assert found.numbers["room_is_limit"]


def test_ghosting_ranks_as_a_caution_and_visible_as_a_note() -> None:
    """Less than two stops above the room is a caution, two to 3.8 a note."""
    (ghosts,) = found_in(a_set(room(lux_for(1.0, 40.0))))
    (visible,) = found_in(a_set(room(lux_for(3.0, 40.0))))

    assert int(ghosts.rank) == 1
    assert int(visible.rank) == 0


def test_the_advised_shutter_and_power_reach_what_is_wanted() -> None:
    """Shutter up to the sync speed first, the rest by power: both together make 3.8 stops."""
    made = a_set(room(lux_for(2.0, 40.0)), sync_speed_s=1 / 203.19, shutter_kind="focal-plane")
    (found,) = found_in(made)

    assert "--shutter 1/200" in found.advice
    gained = math.log2(TIME_S * 2 ** (7 + 2 / 3))
    assert f"{3.8004 - 2.0 - gained:.1f} stops more power" in found.advice


def test_leaf_shutters_have_no_sync_limit() -> None:
    """A leaf shutter may do it all by its time."""
    (found,) = found_in(a_set(room(lux_for(2.0, 40.0)), shutter_kind="leaf"))

    assert "--shutter 1/500" in found.advice or "--shutter 1/400" in found.advice
    assert "more power" not in found.advice


def test_modelling_lamps_are_judged_on_and_named_as_the_way_out() -> None:
    """With readings for lamps on and off, the one with them on counts, and switching them off is the first advice."""
    made = a_set(room(lux_for(4.0, 40.0), "lamps off", 20), room(lux_for(1.0, 40.0), "lamps on", 21))
    (found,) = found_in(made)

    assert found.numbers["lamps"] == "lamps on"
    assert found.numbers["lamps_add_lx"] == pytest.approx(lux_for(1.0, 40.0) - lux_for(4.0, 40.0))
    assert found.advice.startswith("modelling lamps off for the picture: 3.0 stops less")


def test_the_latest_reading_counts() -> None:
    """After dimming the room a new reading replaces the old judgement."""
    assert found_in(a_set(room(1000.0, order=20), room(1.0, order=21))) == []


def test_each_part_has_its_own_room_where_it_was_read() -> None:
    """A backdrop in the shade is judged by the room light read there."""
    made = a_set(room(lux_for(1.0, 80.0)), room(0.5, order=21, point="background"))
    (found,) = found_in(made)

    assert found.numbers["part"] != "background"
    assert found.numbers["parts"]["background"] > 8


def test_parts_of_a_set() -> None:
    """The key side has key and fill, the shadow side fill alone, the background its own; a set without fill has no shadow part."""
    parts = lit_parts(a_set())
    assert parts["key_side"] == ("face", pytest.approx(200.0))
    assert parts["shadow_side"] == ("face", pytest.approx(40.0))
    assert parts["background"] == ("background", pytest.approx(80.0))
    assert "shadow_side" not in lit_parts(view(LIGHTS[:1], PLACES[:1], READ[:1]))


def calibrated(made: JudgedSet, full_scale_lx: float, dark: float = 0.02, **fields: Any) -> JudgedSet:
    """The set with a calibration for its readings."""
    one = Calibration("c", "x", 0.0, 330.0, ranges=(RangeScale(full_scale_lx, dark),), **{"method": "reference", **fields})
    return made._replace(calibrations={"c": one})


def test_light_before_the_pops_stands_in_when_it_can_be_told() -> None:
    """Without a room reading, a pop on a sensitive range tells the room; the finding asks for a proper reading."""
    readings = [read(0, 160.0, ambient_lx=2000.0), *READ[1:]]
    (found,) = found_in(calibrated(a_set(readings=readings), 50_000.0))

    assert "by the light before the pops" in found.text
    assert "meterlink meter --room" in found.advice


def test_a_range_too_coarse_says_so_or_nothing() -> None:
    """A coarse range gives only an upper bound: far below the flash it is silence, otherwise the room is to be read."""
    readings = [read(0, 160.0, ambient_lx=0.0), *READ[1:]]
    (found,) = found_in(calibrated(a_set(readings=readings), 2_000_000.0))
    assert "tell only" in found.text
    assert found_in(calibrated(a_set(readings=readings), 50_000.0)) == []


def test_a_zero_that_nobody_measured_is_not_trusted() -> None:
    """With a calibrated scale but no zero the light before the pops is worth nothing."""
    readings = [read(0, 160.0, ambient_lx=40_000.0), *READ[1:]]

    assert found_in(calibrated(a_set(readings=readings), 2e6, dark=0.0)) == []


def test_without_a_shutter_the_reading_is_only_mentioned() -> None:
    """A room reading needs the shutter to be judged."""
    (found,) = found_in(a_set(room(500.0), shutter_s=None))

    assert "shutter" in found.advice
    assert int(found.rank) == 0


@pytest.mark.parametrize("dark", [-5.0, 0.0])
def test_a_level_below_nothing_is_the_dark(dark: float) -> None:
    """A slightly negative level is noise around dark (what is no number no library keeps)."""
    assert found_in(a_set(room(dark))) == []
    known = level(a_set(room(dark)))
    assert known is not None
    assert known.illuminance_lx == 0.0


def test_a_shutter_that_gains_nothing_is_not_advised() -> None:
    """At 1/190 s with a sync of 1/200 the shutter would gain a tenth of a stop: only power and aperture are told."""
    made = a_set(room(40.0 / 4 * 190), shutter_s=1 / 190, sync_speed_s=1 / 203.19, shutter_kind="focal-plane")
    (found,) = found_in(made)

    assert found.numbers["flash_over_room_stops"] == pytest.approx(2.0)
    assert "--shutter" not in found.advice
    assert "1.8 stops more power" in found.advice
