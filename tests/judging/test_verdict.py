"""Verdicts: limits, words, and everything that makes a retake."""

from __future__ import annotations

from math import sqrt
from typing import Any

import pytest
from small_sets import all_at_once, hot, light, placed, read, view

from meterlink.judging.verdict import Why, judge, outside_claim, repeat_u_stops, signed
from meterlink.records import Calibration, Placement, Pop, Reading, Settings

SETTINGS = Settings()


def reading(**fields: Any) -> Reading:
    """A reading of 160 lx·s."""
    return Reading("r", "s", "l", "p", "c", "x", 0.0, **{"exposure_lxs": 160.0, "held_off_m": 0.0, **fields})


def placement(**fields: Any) -> Placement:
    """A disk of 90 cm a metre away."""
    return Placement("p", "l", 0.0, **{"shape": "disk", "width_m": 0.9, "distance_m": 1.0, **fields})


def test_dome_at_the_face_is_good() -> None:
    """Declared at the face: nothing to correct, value kept."""
    judged = judge(reading(), placement(), SETTINGS)
    assert (judged.verdict, judged.corrected, judged.correction_stops) == ("good", 160.0, 0.0)
    assert judged.reason.startswith("dome at the face")
    assert judged.u95_stops == 2 * judged.u_stops <= 0.2


@pytest.mark.parametrize("held_off_m", [0.0, None])
def test_what_makes_a_reading_too_wide_is_what_is_to_be_done_about(held_off_m: float | None) -> None:
    """Noise of half a stop is cured neither by the dome at the face nor, of continuous light, by a head that recycles."""
    noisy = reading(u_rel=0.3, held_off_m=held_off_m)
    steady = noisy._replace(kind="steady", illuminance_lx=160.0, exposure_lxs=None)

    assert judge(noisy, placement(), SETTINGS).reason.endswith("let the head recycle and take it again")
    assert "wavers, or is too weak" in judge(steady, placement(), SETTINGS).reason


def test_held_off_is_corrected_in_words() -> None:
    """20 cm in front of the face: the sentence names what happened and what was done, inverse square stands beside."""
    judged = judge(reading(held_off_m=0.2), placement(), SETTINGS)
    assert judged.verdict == "corrected"
    assert judged.reason == "dome 20 cm in front of the face reads 0.5 stop hot, corrected by −0.5 ± 0.2"
    assert judged.corrected == pytest.approx(160 * 2**judged.correction_stops)
    assert judged.inverse_square_stops == pytest.approx(-0.644, abs=1e-3)


def test_undeclared_says_so() -> None:
    """Nobody typed a distance: the reason says that and what was assumed."""
    judged = judge(reading(held_off_m=None), placement(), SETTINGS)
    assert judged.reason.startswith("distance not given: 0–6 cm toward the light assumed")
    assert judged.correction_stops < 0
    nothing = judge(reading(held_off_m=None), None, SETTINGS)
    assert "neither held-off nor light's distance given" in nothing.reason


def test_away_from_the_light_reads_low() -> None:
    """A dome on the camera's side of a hair light gets less: low, corrected upward, the direction in words."""
    judged = judge(
        reading(held_off_m=0.1, held_off_toward="camera", point="hair"),
        placement(azimuth_deg=180.0, elevation_deg=40.0, distance_m=1.5),
        SETTINGS,
    )
    assert "10 cm from the hair toward the camera reads 0.1 stop low, corrected by +0.1" in judged.reason
    assert judged.correction_stops > 0


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"clipped": True}, "clipped"),
        ({"too_dim": True}, "too dim"),
        ({"exposure_lxs": 0.0}, "no light"),
        ({"exposure_lxs": None}, "no light"),
        ({"held_off_m": 0.6}, "more than half of the light's distance"),
        ({"held_off_m": 2.0}, "at or behind"),
    ],
)
def test_retakes(fields: dict[str, Any], words: str) -> None:
    """Each thing that a correction cannot mend is a retake with its reason."""
    judged = judge(reading(**fields), placement(), SETTINGS)
    assert judged.verdict == "retake"
    assert words in judged.reason
    assert "\n" not in judged.reason


def test_contradiction_makes_a_retake() -> None:
    """The reading that the pop of all lights speaks against is a retake, its reason and that of the correction behind it."""
    lights, places = [light(0, "KEY", "key"), light(1, "FILL", "fill")], [placed(0), placed(1)]
    alone = [read(0, 160.0 * hot(places[0], 0.4)), read(1, 40.0)]
    agreeing = view(lights, places, alone)
    seen = view(lights, places, [*alone, all_at_once(200.0, (0, 1))])
    key = seen.lights[0].judged
    assert seen.blamed is not None
    assert seen.blamed.light_id == "l0"
    assert key.verdict == "retake"
    assert key.why == Why.CONTRADICTED
    assert key.reason.startswith("contradicted by the pop of all lights together: it reads about +")
    assert key.reason.endswith(agreeing.lights[0].judged.reason)
    assert seen.lights[1].judged == agreeing.lights[1].judged


def test_limits_are_settings() -> None:
    """The design's limits decide, and changing them changes the verdict."""
    read = reading(held_off_m=0.2)
    loose = SETTINGS._replace(good_correction_stops=1.0, good_u95_stops=0.5)
    assert judge(read, placement(), loose).verdict == "good"
    strict = SETTINGS._replace(corrected_u95_stops=0.05)
    tight = judge(read, placement(), strict)
    assert tight.verdict == "retake"
    assert "take it again" in tight.reason


def test_retake_says_what_would_help() -> None:
    """The largest part of the uncertainty names the remedy."""
    far = judge(reading(held_off_m=0.1, u_held_off_m=0.1), placement(), SETTINGS)
    assert "dome at the face" in far.reason
    unknown = judge(reading(held_off_m=0.2), placement(distance_m=None), SETTINGS)
    assert "give the light's distance, no new pop is needed" in unknown.reason
    direction = judge(reading(held_off_m=0.3, held_off_toward="camera"), placement(), SETTINGS)
    assert "where the light stands" in direction.reason
    wild = reading(pops=tuple(Pop(v) for v in (100.0, 220.0)))
    assert "pops differ" in judge(wild, placement(), SETTINGS).reason


def test_repeats_narrow_the_reading() -> None:
    """Four pops halve the assumed spread; a wide spread of the pops themselves counts; noise is added."""
    one = repeat_u_stops(reading(), 0.03)
    same = repeat_u_stops(reading(pops=tuple(Pop(160.0) for _ in range(4))), 0.03)
    wild = repeat_u_stops(reading(pops=tuple(Pop(v) for v in (140.0, 160.0, 180.0, 160.0))), 0.03)
    assert one == pytest.approx(0.03)
    assert same < one / 2 < wild
    assert repeat_u_stops(reading(u_rel=0.1), 0.0) == pytest.approx(0.144270, abs=1e-6)


def test_steady_light_and_calibration() -> None:
    """Illuminance is corrected as exposure is; a calibration's measured angle response is used."""
    steady = reading(kind="steady", exposure_lxs=None, illuminance_lx=1000.0, held_off_m=0.2)
    assert judge(steady, placement(), SETTINGS).corrected == pytest.approx(1000 * 2**-0.5288, rel=1e-3)
    response = tuple((float(a), 1.0) for a in range(0, 180, 10))
    calibration = Calibration("c", "x", 0.0, 330.0, angle_response=response)
    got = judge(steady, placement(), SETTINGS, calibration=calibration)
    assert got.correction_stops == pytest.approx(-0.5288, abs=0.03)
    assert got.correction_stops != judge(steady, placement(), SETTINGS).correction_stops


def test_signed() -> None:
    """Stops are printed to a tenth with a real minus, and nothing is printed as minus zero."""
    assert [signed(v) for v in (0.26, -0.52, 0.04, -0.04)] == ["+0.3", "−0.5", "0.0", "0.0"]


def test_a_weak_reflector_is_uncertain() -> None:
    """A tenth of the source's light, as the difference of two pops, is a dozen times less sure than a pop: retake, said why."""
    from meterlink.judging.standing import difference

    without = reading(exposure_lxs=100.0)
    weak = difference(reading(exposure_lxs=110.0, purpose="with"), without, 0.03)
    strong = difference(reading(exposure_lxs=200.0, purpose="with"), without, 0.03)
    # Both pops have 0.03 stop each: u = 0.03 sqrt(110**2 + 100**2) / 10 stop.
    assert repeat_u_stops(weak, 0.03) == pytest.approx(0.03 * (110**2 + 100**2) ** 0.5 / 10, rel=1e-6)
    assert judge(weak, placement(), SETTINGS).verdict == "retake"
    assert "average several" in judge(weak, placement(), SETTINGS).reason
    assert judge(strong, placement(), SETTINGS).verdict in ("good", "corrected")
    assert judge(difference(without, reading(exposure_lxs=110.0), 0.03), placement(), SETTINGS).verdict == "retake"


CLAIM = {"stops": 0.1, "flash_peak_lx": [[1e5, 1.8e6], None], "steady_lx": [[5e4, 1.9e6], None], "why": ""}


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"peak_lx": 5e5}, ""),
        ({"peak_lx": 5e4}, "dimmer than its calibration is good for to 0.1 stop"),
        ({"peak_lx": 1.9e6}, "brighter than its calibration is good for to 0.1 stop"),
        ({"peak_lx": 5e4, "range_index": 1}, "claims no such light"),
        ({"peak_lx": 5e4, "range_index": 7}, "claims no such light"),
        ({"peak_lx": None}, ""),
        ({"kind": "steady", "illuminance_lx": 2e4}, "dimmer"),
    ],
)
def test_outside_the_claimed_range_is_said(fields: dict[str, Any], words: str) -> None:
    """Light that the calibration does not claim a tenth of a stop for is marked in the reason; the verdict stays."""
    calibrated = Calibration("c", "x", 0.0, 330.0, details={"claim": CLAIM})

    judged = judge(reading(**fields), placement(), SETTINGS, calibration=calibrated)

    assert words in str(outside_claim(reading(**fields), calibrated))
    assert words in judged.reason
    assert bool(words) == ("claim" in judged.reason or "good for" in judged.reason)
    assert judged.verdict == judge(reading(**fields), placement(), SETTINGS).verdict


HUGE = {"flash_peak_lx": [[10.0, 20.0]], "why": "", "stops": 10**400}


@pytest.mark.parametrize("claim", [None, {}, "x", {"flash_peak_lx": 3}, {"flash_peak_lx": [[1]], "why": "", "stops": 1}, HUGE])
def test_a_claim_that_is_none_or_nonsense_says_nothing(claim: Any) -> None:
    """A library from elsewhere may hold anything as a claim: no word, no error."""
    assert not outside_claim(reading(peak_lx=5.0), Calibration("c", "x", 0.0, 330.0, details={"claim": claim}))
    assert not outside_claim(reading(peak_lx=5.0), None)


def test_two_lucky_pops_do_not_look_perfect() -> None:
    """The assumed spread counts like four pops: two that agree wholly leave sqrt(4/5) of it, by the square root of two."""
    alike = reading(u_rel=0.0, pops=(Pop(160.0), Pop(160.0)))

    assert repeat_u_stops(alike, 0.1) == pytest.approx(0.1 * sqrt(4 / 5) / sqrt(2))


def test_half_of_the_distance_is_judged_on_what_was_declared() -> None:
    """A light 0.5 m away: 30 cm that were said are too far; assumed ones are no word of hers, and their interval decides."""
    near = placement(distance_m=0.5, width_m=0.3)
    wide = SETTINGS._replace(assumed_reach_min_m=0.27, assumed_reach_max_m=0.33)

    assert judge(reading(held_off_m=0.3), near, wide).why == Why.HALF_WAY
    assumed = judge(reading(held_off_m=None), near, wide)
    assert assumed.correction.held_off_m == pytest.approx(0.3)
    assert assumed.why != Why.HALF_WAY
    assert "more than half" not in assumed.reason


def test_a_light_within_the_assumed_reach_asks_for_the_distance() -> None:
    """Undeclared, and the light 5 cm away: the dome may have touched it, which is said in words and not as a formula's error."""
    judged = judge(reading(held_off_m=None), placement(distance_m=0.05, shape="point", width_m=None), SETTINGS)

    assert (judged.verdict, judged.why) == ("retake", Why.NO_FIGURE)
    assert judged.reason == "the light is 5 cm away and the dome may have been held off as far: say how far it was held off"
