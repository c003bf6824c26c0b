"""Which light smears movement, in millimetres and pixels, and what this head's own readings say about it."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from small_sets import gave, light, placed, read, view

from meterlink.checks.facts import MOVEMENTS, magnification_of, movement
from meterlink.checks.finders import findings, looked_at
from meterlink.checks.findings import Finding
from meterlink.checks.freezing import LIMIT_MM, limit_mm, trails_of
from meterlink.judging.judged_set import JudgedSet
from meterlink.judging.prediction import Past
from meterlink.records import Placement

POINT = {"shape": "point", "width_m": None}
LIGHTS = [
    light(0, "KEY", "key", fixture="A", power_step_stops=0.1),
    light(1, "FILL", "fill", fixture="B"),
    light(2, "HAIR", "hair", point="hair", fixture="C"),
]
PLACES = [
    placed(0, azimuth_deg=0.0, power_stops=-1.0, power_text="1/2", **POINT),
    placed(1, azimuth_deg=0.0, power_stops=-2.0, **POINT),
    placed(2, azimuth_deg=170.0, **POINT),
]


def a_set(key_s: float, fill_s: float, hair_s: float = 1 / 8000, history: tuple[Past, ...] = (), **details: Any) -> JudgedSet:
    """Key and fill at 4:1 on the camera's axis, and a hair light."""
    readings = [read(0, 160.0, t01_s=key_s), read(1, 40.0, t01_s=fill_s), read(2, 80.0, point="hair", t01_s=hair_s)]
    made = view(LIGHTS, PLACES, readings, history=history, details=details)
    return made._replace(setup=made.setup._replace(shutter_s=1 / 128))


def found_in(made: JudgedSet) -> list[Finding]:
    """Findings about movement, all of them plain data."""
    import meterlink.checks.finders  # noqa: F401

    found = [one for one in findings(made) if one.kind == "freeze"]
    for one in found:
        json.dumps(one.as_json(), allow_nan=False)
    return found


def past(power: float, t01_s: float, delivered: float | None = None, light_id: str = "old") -> Past:
    """What head A gave in another set; ``delivered`` in stops from full (default: what the dial says)."""
    place = Placement(f"q{power}", light_id, 1.0, distance_m=1.0, azimuth_deg=30.0, power_stops=power)
    value = 8.0 + (power if delivered is None else delivered)
    return gave("A", place, value, 0.01, light_id=light_id, reading_id=f"r{power}{light_id}", t01_s=t01_s)


CUT_OFF = tuple(past(p, 1 / 1000 * 2.0 ** (0.9 * p)) for p in (0.0, -1.0, -2.0, -3.0, -4.0))
VOLTAGE = tuple(past(p, 1 / 1000 * 2.0 ** (-0.2 * p)) for p in (0.0, -1.0, -2.0))


def test_trail_is_ranked_by_share_and_not_by_length() -> None:
    """The key with 4/5 of the light shows its shorter trail more than the fill its longer one."""
    drawn = trails_of(a_set(1 / 300, 1 / 150))

    on_face = [one for one in drawn if one.at_point == "face"]
    assert [one.light for one in on_face] == ["KEY", "FILL"]
    assert on_face[0].share == pytest.approx(0.8)
    assert on_face[0].trail_mm == pytest.approx(1000 / 300)
    assert on_face[1].weighted_mm == pytest.approx(0.2 * 1000 / 150)


def test_dancer_under_a_3000th_is_frozen() -> None:
    """Common practice, no published source: t0.1 of 1/3000 s or shorter freezes a dancer; 1/2500 s does not."""
    assert found_in(a_set(1 / 3000, 1 / 3000, movement="dancer")) == []
    (found,) = found_in(a_set(1 / 2500, 1 / 3000, movement="dancer"))
    assert found.light == "KEY"
    assert found.numbers["wanted_t01_s"] == pytest.approx(1 / 3000)


def test_long_trail_of_a_declared_movement_is_a_caution() -> None:
    """What she said that she wants frozen is a caution, what was assumed a note that says so."""
    (declared,) = found_in(a_set(1 / 300, 1 / 3000, movement_m_s=1.0))
    (assumed,) = found_in(a_set(1 / 300, 1 / 3000))

    assert int(declared.rank) == 1
    assert int(assumed.rank) == 0
    assert "assumed" in assumed.text


def test_pixels_come_from_focal_length_distance_and_pitch() -> None:
    """85 mm at 2.085 m is 1:23.5; 3.33 mm at 4 µm a pixel are 35 pixels; without the pitch nothing is said of pixels."""
    made = a_set(1 / 300, 1 / 3000, movement_m_s=1.0, focal_length_mm=85, camera_distance_m=2.085, pixel_pitch_um=4.0)
    (found,) = found_in(made)

    assert magnification_of(made.setup) == pytest.approx(0.085 / 2.0)
    assert found.numbers["trail_px"] == pytest.approx(1000 / 300 * 0.0425 / 0.004)
    assert "35 pixels" in found.text
    (plain,) = found_in(a_set(1 / 300, 1 / 3000, movement_m_s=1.0))
    assert "pixels" not in plain.text


def test_limits_are_common_practice_or_as_set() -> None:
    """5/3 mm without a camera; five pixels with one; a limit of her own goes before both."""
    camera = {"magnification": 0.0425, "pixel_pitch_um": 4.0}
    assert limit_mm(a_set(1, 1)) == LIMIT_MM
    assert limit_mm(a_set(1, 1, **camera)) == pytest.approx(5 * 0.004 / 0.0425)
    assert limit_mm(a_set(1, 1, **camera, blur_limit_px=10.0)) == pytest.approx(10 * 0.004 / 0.0425)
    assert limit_mm(a_set(1, 1, **camera, blur_limit_mm=2.0)) == 2.0


@pytest.mark.parametrize("movement_m_s", [5.0, 4.9])
def test_cut_off_head_is_turned_down_by_its_own_readings(movement_m_s: float) -> None:
    """A head whose readings get shorter at low power: the advice names the power, its t0.1 and the stops that it costs."""
    (found,) = found_in(a_set(2.0**-0.9 / 1000, 1 / 8000, history=CUT_OFF, movement_m_s=movement_m_s))

    # 1/3000 s is reached at log2(3)/0.9 = 1.76 stops below full, 1/2940 s at 1.73: on the dial of tenths 1.8, that is 1/4 +0.2.
    assert "KEY at 1/4 +0.2" in found.advice
    assert "A's own readings" in found.advice
    assert "costs 0.8 stop" in found.advice


def test_cost_is_what_the_head_delivers_and_not_what_its_dial_says() -> None:
    """A dial that delivers 1.5 stops for a step of one costs 1.5 stops."""
    stands = tuple(past(p, 1 / 1000 * 2.0**p, 1.5 * p, "one place") for p in (0.0, -1.0, -2.0))
    (found,) = found_in(a_set(1 / 2000, 1 / 8000, history=stands, movement_m_s=20 / 3))

    assert "KEY at 1/4" in found.advice
    assert "costs 1.5 stops" in found.advice or "costs 1.4 stops" in found.advice


def test_voltage_controlled_head_is_not_turned_down() -> None:
    """A head that gets longer at low power is never advised downward; when it cannot do it, that is said."""
    (found,) = found_in(a_set(1 / 870, 1 / 8000, history=VOLTAGE, movement_m_s=5.0))

    assert "never read as short" in found.advice
    assert "1/1000 s at full" in found.advice


def test_unknown_heads_are_to_be_read_first() -> None:
    """Without readings at two powers nothing is promised: common practice is named as such, and a reading asked for."""
    (found,) = found_in(a_set(1 / 500, 1 / 8000, movement_m_s=5.0))

    assert "lower power" in found.advice
    assert "common practice" in found.advice


def test_another_heads_readings_do_not_count() -> None:
    """The curve of head B says nothing about head A."""
    others = tuple(one._replace(light=one.light._replace(fixture="Z")) for one in CUT_OFF)
    (found,) = found_in(a_set(1 / 500, 1 / 8000, history=others, movement_m_s=5.0))

    assert "to learn whether" in found.advice


def test_hair_light_is_judged_at_its_own_point() -> None:
    """Hair is lit by its own light alone: a slow one is named when a movement is declared."""
    (found,) = found_in(a_set(1 / 8000, 1 / 8000, 1 / 400, movement="hair"))

    assert found.light == "HAIR"
    assert "the light on the hair" in found.text
    assert found_in(a_set(1 / 8000, 1 / 8000, 1 / 400)) == []


def test_a_slow_hair_light_does_not_silence_what_is_frozen_on_the_face() -> None:
    """No movement was declared, so the hair is nobody's worry: of the face it is said that it is frozen, with its number."""
    import meterlink.checks.finders  # noqa: F401

    (well,) = [one for one in looked_at(a_set(1 / 2000, 1 / 2000, hair_s=1 / 300))[1] if one.kind == "freeze"]

    assert well.said.code == "frozen"
    assert well.said.values["light"] in ("KEY", "FILL")
    assert found_in(a_set(1 / 2000, 1 / 2000, hair_s=1 / 300)) == []
    assert [one.light for one in found_in(a_set(1 / 2000, 1 / 2000, hair_s=1 / 300, movement="hair"))] == ["HAIR"]


def test_steady_light_draws_for_the_whole_shutter() -> None:
    """Continuous light leaves speed times shutter, and only the shutter shortens it."""
    readings = [read(0, 0.0, kind="steady", illuminance_lx=2000.0)._replace(exposure_lxs=None)]
    made = view(LIGHTS[:1], PLACES[:1], readings, details={"movement_m_s": 1.0})
    made = made._replace(setup=made.setup._replace(shutter_s=1 / 128))
    (found,) = found_in(made)

    assert found.numbers["trail_mm"] == pytest.approx(1000 / 128)
    assert f"costs {math.log2(1 / 128 / (LIMIT_MM / 1000)):.1f} stops" in found.advice


def test_shutter_shorter_than_the_flash_shortens_its_trail() -> None:
    """A leaf shutter at 1/1000 s cuts the trail of a flash of 1/200 s."""
    made = a_set(1 / 200, 1 / 8000, shutter_kind="leaf")
    made = made._replace(setup=made.setup._replace(shutter_s=1 / 1024))

    assert trails_of(made)[0].trail_mm == pytest.approx(1000 / 1024)


def test_speed_by_word_or_number() -> None:
    """A number goes before a word; without both, hands are assumed."""
    assert movement(a_set(1, 1, movement="walking").setup) == (MOVEMENTS["walking"], "walking", True)
    assert movement(a_set(1, 1, movement_m_s=2.5).setup) == (2.5, "", True)
    assert movement(a_set(1, 1).setup) == (MOVEMENTS["hands"], "hands", False)


@pytest.mark.parametrize("bad", [{"movement_m_s": "fast"}, {"movement": ["a"]}, {"pixel_pitch_um": -1}, {"focal_length_mm": 1e9},
                                 {"focal_length_mm": 85, "camera_distance_m": 0.05}, {"blur_limit_px": float("nan")}])  # fmt: skip
def test_facts_that_cannot_be_are_no_facts(bad: dict[str, Any]) -> None:
    """Details of the wrong kind, e.g. from an imported file, are as good as none."""
    (found,) = found_in(a_set(1 / 300, 1 / 3000, **bad))

    assert found.numbers["trail_px"] is None
    assert found.numbers["speed_m_s"] == 1.0


def test_movement_of_zero_leaves_nothing() -> None:
    """Nothing moves, nothing smears, nothing divides by zero."""
    assert found_in(a_set(1 / 100, 1 / 100, movement_m_s=0.0)) == []


def test_no_share_is_told_while_a_light_of_the_face_is_not_read() -> None:
    """A key that was metered alone is not all of the light on the face: the fill has yet to add its own."""
    whole = a_set(1 / 100, 1 / 2000)
    part = view(LIGHTS, PLACES, [read(0, 160.0, t01_s=1 / 100)])

    assert "of the light on the face" not in found_in(part)[0].text
    assert found_in(part)[0].numbers["share"] is None
    assert "in 80 % of the light on the face" in found_in(whole)[0].text


def test_a_card_draws_as_long_as_its_source_flashes() -> None:
    """What shortens the trail of a passive card is done at the head that it takes its light from."""
    lights = [LIGHTS[0], light(1, "CARD", "fill", source_light_id="l0")]
    stood = [place._replace(id=f"{0:016d}{i}") for i, place in enumerate(PLACES[:2])]
    pair = [
        read(1, lxs, order=i, purpose=purpose, t01_s=1 / 100)._replace(placement_id=stood[1].id)
        for i, (purpose, lxs) in enumerate((("with", 90.0), ("without", 40.0)), 1)
    ]
    card = next(one for one in found_in(view(lights, stood, pair)) if one.light == "CARD")

    assert "meter KEY at a lower power" in card.advice
    assert "CARD" not in card.advice
