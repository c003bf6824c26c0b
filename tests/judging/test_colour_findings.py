"""Lights off the key's colour, gels that match them, heads that drift over their power."""

from __future__ import annotations

import json
from typing import Any

import pytest
from small_sets import gave, light, placed, read, view

from meterlink.checks.colour import colour_rows
from meterlink.checks.finders import findings
from meterlink.checks.findings import Finding
from meterlink.judging.fixture_curves import curves_of, fixture_curves
from meterlink.judging.judged_set import JudgedSet
from meterlink.judging.prediction import Past
from meterlink.records import Placement

LIGHTS = [light(0, "KEY", "key", fixture="A"), light(1, "FILL", "fill", fixture="B")]
POINT = {"shape": "point", "width_m": None}


def a_set(key: dict[str, Any], fill: dict[str, Any], history: tuple[Past, ...] = (), gel: str = "", **details: Any) -> JudgedSet:
    """Key and fill with what was read of their colour."""
    places = [placed(0, azimuth_deg=20.0, **POINT), placed(1, azimuth_deg=-20.0, power_stops=-3.0, gel=gel, **POINT)]
    return view(LIGHTS, places, [read(0, 160.0, **key), read(1, 16.0 / 1.44, **fill)], history=history, details=details)


def found_in(made: JudgedSet, kind: str = "colour") -> list[Finding]:
    """Findings of a kind, all of them plain data."""
    import meterlink.checks.finders  # noqa: F401

    found = [one for one in findings(made) if one.kind == kind]
    for one in found:
        json.dumps(one.as_json(), allow_nan=False)
    return found


def test_gel_correction_in_mired() -> None:
    """A light of 5700 K beside a key of 3200 K: 10^6/3200 - 10^6/5700 = 137 mired that lower the CCT.

    The example 10^6/5700 - 10^6/3200 = -137 is the encyclopedia's for a window and a lamp.
    """
    (found,) = found_in(a_set({"cct_k": 3200.0}, {"cct_k": 5700.0}))

    assert found.light == "FILL"
    assert found.numbers["gel_mired"] == pytest.approx(137.06, abs=0.01)
    assert "its CCT is higher by 137 mired" in found.text
    assert "lowers the CCT by 137 mired" in found.advice


def test_words_are_higher_and_lower_never_warm_and_cool() -> None:
    """No finding about colour says warm, warmer, cool or cooler."""
    for a, b in ((3200.0, 5700.0), (5700.0, 3200.0)):
        (found,) = found_in(a_set({"cct_k": a, "duv": 0.0}, {"cct_k": b, "duv": 0.02}))
        assert not any(word in (found.text + found.advice).lower() for word in ("warm", "cool"))
    assert "toward green" in found.text
    assert "magenta" in found.advice


def test_limits_as_set() -> None:
    """Ten mired and 0.006 Duv unless the set says otherwise."""
    small = ({"cct_k": 5500.0, "duv": 0.001}, {"cct_k": 5700.0, "duv": 0.001})
    assert found_in(a_set(*small)) == []
    assert len(found_in(a_set(*small, colour_limit_mired=5.0))) == 1
    tint = ({"cct_k": 5500.0, "duv": 0.0}, {"cct_k": 5500.0, "duv": 0.01})
    assert len(found_in(a_set(*tint))) == 1
    assert found_in(a_set(*tint, colour_limit_duv=0.02)) == []
    assert len(found_in(a_set(*tint, colour_limit_duv="wide"))) == 1


def test_sensor_without_colour_says_nothing() -> None:
    """Neither light, or only one, or one of no believable CCT: no finding about colour."""
    for key, fill in (({}, {}), ({"cct_k": 5500.0}, {}), ({}, {"cct_k": 3000.0}), ({"cct_k": 5500.0}, {"cct_k": 1.0}),
                      ({"cct_k": 5500.0}, {"cct_k": float("nan")}), ({"cct_k": 5500.0}, {"x": 0.9, "y": 0.9})):  # fmt: skip
        assert found_in(a_set(key, fill)) == []
        assert found_in(a_set(key, fill), "colour_drift") == []


def test_two_sensors_are_not_compared() -> None:
    """The difference of two sensors is no difference of two lights."""
    made = a_set({"cct_k": 5500.0}, {"cct_k": 4000.0})
    other = made.lights[1]
    assert other.reading is not None
    apart = made._replace(lights=(made.lights[0], other._replace(reading=other.reading._replace(sensor_id="y"))))

    assert len(found_in(made)) == 1
    assert found_in(apart) == []
    assert colour_rows(apart)[1].gel_mired is None


def test_reflectors_say_nothing_of_their_own_colour() -> None:
    """A reflector's reading is a difference of two pops; the mixture's CCT is not its own."""
    made = a_set({"cct_k": 5500.0}, {"cct_k": 4000.0})
    card = made.lights[1]._replace(light=made.lights[1].light._replace(source_light_id="l0"))

    assert found_in(made._replace(lights=(made.lights[0], card))) == []


def test_a_gel_that_is_on_is_no_fault() -> None:
    """A light with a gel differs on purpose: a note that names the gel."""
    (found,) = found_in(a_set({"cct_k": 5500.0}, {"cct_k": 3300.0}, gel="amber"))
    assert "a gel that" not in found.advice
    assert "take the gel off (meterlink light move FILL --gel none)" in found.advice

    assert int(found.rank) == 0
    assert "amber" in found.text


def past(power: float, cct_k: float | None, head: str = "B", **fields: Any) -> Past:
    """A head's reading in an earlier set."""
    place = Placement(f"q{power}", "old", 1.0, distance_m=1.0, azimuth_deg=30.0, power_stops=power)
    return gave(head, place, 7.0 + power, 0.02, **{"reading_id": f"r{power}", "cct_k": cct_k, "duv": 0.001, **fields})


DRIFT = tuple(past(p, cct) for p, cct in ((0.0, 5400.0), (-1.0, 5500.0), (-2.0, 5600.0), (-4.0, 5900.0)))


def test_drift_over_power_comes_from_the_heads_own_readings() -> None:
    """From full to 1/16 this head goes from 5400 to 5900 K: said with the direction, the powers and the readings."""
    (found,) = found_in(a_set({"cct_k": 5500.0}, {"cct_k": 5750.0}, DRIFT), "colour_drift")

    assert found.numbers["span_mired"] == pytest.approx(1e6 / 5400 - 1e6 / 5900)
    assert "higher CCT at low power" in found.text
    assert "5400 K at full" in found.text
    assert "5900 K at 1/16" in found.text
    assert "5 readings" in found.text
    assert found_in(a_set({"cct_k": 5500.0}, {"cct_k": 5750.0}), "colour_drift") == []


def test_a_power_that_matches_is_offered() -> None:
    """Where the head was read near the key's colour, that power stands beside the gel."""
    (found,) = found_in(a_set({"cct_k": 5400.0}, {"cct_k": 5800.0}, DRIFT))

    assert "at full B read 5400 K" in found.advice


def test_colours_of_other_heads_gels_and_sensors_are_kept_apart() -> None:
    """A gel changes the colour and another sensor may read it differently: neither joins a head's curve."""
    gelled = past(-6.0, 3200.0)
    gelled = gelled._replace(placement=gelled.placement._replace(gel="amber"))
    strange = past(-7.0, 9000.0, sensor_id="y")
    made = a_set({"cct_k": 5500.0}, {"cct_k": 5750.0}, (*DRIFT, gelled, strange, past(-5.0, 2000.0, head="Z")))

    curves = fixture_curves(made.lights[1], made)

    assert [point.power_stops for point in curves.colours] == [-4.0, -3.0, -2.0, -1.0, 0.0]


def test_readings_at_one_power_are_averaged_in_mired() -> None:
    """Two readings of 5000 and 6000 K are 183.3 mired, not 5500 K."""
    curves = curves_of([past(0.0, 5000.0), past(0.0, 6000.0, reading_id="b"), past(-1.0, None)])

    assert [(p.power_stops, p.readings) for p in curves.colours] == [(0.0, 2)]
    assert curves.colours[0].mired == pytest.approx((200 + 1e6 / 6000) / 2)
