"""Evenness from placements and from readings at points."""

from __future__ import annotations

import math
from typing import Any

import pytest
from scipy.integrate import dblquad
from small_sets import light, placed, read, view

from meterlink.checks.finders import findings
from meterlink.checks.findings import Finding
from meterlink.judging.evenness import Spread, figure_points, heat_map, predicted_evenness, spread_of_readings


def test_a_metre_disk_at_60_cm_leaves_the_feet_five_stops_down() -> None:
    """The trade's 60 cm (common practice) are kept, and still the feet are five stops under the face."""
    big = placed(0, width_m=1.0, distance_m=0.6)
    even = predicted_evenness({"KEY": (big, 100.0)})
    assert even.points == ("face", "hands", "feet")
    assert even.together[0] == 0.0
    assert even.together[2] == pytest.approx(-5.0, abs=0.15)
    assert even.spread_stops > 4.9
    assert "feet" in str(even.caution)
    assert "60 cm" in str(even.caution)


def test_prediction_equals_quadrature() -> None:
    """A tilted rectangle from one side on a camera-facing flat receptor at the feet, against scipy in set coordinates."""
    import numpy as np

    place = placed(0, shape="rectangle", width_m=0.6, height_m=0.9, distance_m=1.5, azimuth_deg=35.0, elevation_deg=20.0)
    az, el = math.radians(35.0), math.radians(20.0)
    light = np.array([math.sin(az) * math.cos(el), math.sin(el), math.cos(az) * math.cos(el)])
    across = np.cross([0.0, 1.0, 0.0], -light)
    across /= np.linalg.norm(across)
    up = np.cross(-light, across)

    def at(point: np.ndarray) -> float:
        def element(v: float, u: float) -> float:
            to = light * 1.5 + u * across + v * up - point
            r = math.sqrt(float(to @ to))
            return max(0.0, to[2] / r) * max(0.0, float(light @ to) / r) / r**2

        return float(dblquad(element, -0.3, 0.3, -0.45, 0.45, epsrel=1e-9)[0])

    even = predicted_evenness({"KEY": (place, 50.0)})
    for name, point in figure_points().items():
        truth = math.log2(at(np.array(point)) / at(np.zeros(3)))
        assert even.by_light["KEY"][even.points.index(name)] == pytest.approx(truth, abs=1e-6)


def test_lights_add_by_their_strength() -> None:
    """A low fill lifts the feet; the total follows the light each gives at the face."""
    key = placed(0, width_m=1.0, distance_m=0.8)
    low = placed(1, width_m=1.0, distance_m=1.8, elevation_deg=-35.0)
    alone = predicted_evenness({"KEY": (key, 100.0)})
    both = predicted_evenness({"KEY": (key, 100.0), "LOW": (low, 50.0)})
    assert both.together[2] > alone.together[2] + 0.5
    parts = [100.0 * 2 ** both.by_light["KEY"][2], 50.0 * 2 ** both.by_light["LOW"][2]]
    assert both.together[2] == pytest.approx(math.log2(sum(parts) / 150.0))


def test_far_lights_are_even() -> None:
    """A point light four metres away needs no caution."""
    far = placed(0, shape="point", width_m=None, distance_m=4.0)
    assert not predicted_evenness({"KEY": (far, 10.0)}).caution


def test_refusals() -> None:
    """Lights without a place, behind the figure, or an impossible face height give one clear line."""
    for place in (placed(0, distance_m=None), placed(0, azimuth_deg=None), placed(0, azimuth_deg=180.0)):
        with pytest.raises(ValueError, match="no light"):
            predicted_evenness({"KEY": (place, 1.0)})
    for bad in (0.0, 5.0, math.nan):
        with pytest.raises(ValueError, match="above the floor"):
            figure_points(bad)
    with pytest.raises(ValueError, match="two points"):
        spread_of_readings([read(0, 100.0)])
    with pytest.raises(ValueError, match="like with like"):
        spread_of_readings([read(0, 100.0, point="a"), read(0, 100.0, point="b", receptor="flat")])
    with pytest.raises(ValueError, match="reading at b"):
        spread_of_readings([read(0, 100.0, point="a"), read(0, 100.0, point="b", clipped=True)])
    with pytest.raises(ValueError, match="columns"):
        heat_map(Spread(("a", "b"), (0.0, -1.0), 1.0, 0.04), 0)


def test_backdrop_in_a_grid_of_nine() -> None:
    """Nine readings: highest minus lowest in stops with its uncertainty, a small map of shades and numbers."""
    values = [80, 100, 80, 90, 160, 90, 70, 80, 70]
    readings = [read(0, float(v), point=f"b{i}", receptor="flat") for i, v in enumerate(values)]
    spread = spread_of_readings([read(0, 1.0, point="b0", receptor="flat"), *readings])
    assert spread.spread_stops == pytest.approx(math.log2(160 / 70))
    assert spread.u_spread_stops == pytest.approx(0.03 * math.sqrt(2))
    assert max(spread.stops) == 0.0
    rows = heat_map(spread).splitlines()
    assert len(rows) == 3
    assert "0.0" in rows[1]
    assert "−1.2" in rows[2]


def of_kind(kind: str, *arguments: Any, **more: Any) -> list[Finding]:
    """Findings of one kind in a set."""
    import meterlink.checks.evenness  # noqa: F401 - registers its finders

    return [one for one in findings(view(*arguments, **more)) if one.kind == kind]


def test_head_to_toe_is_a_caution_only_when_the_feet_show() -> None:
    """Full length: a caution with its numbers; a known face height alone: a note; nothing known: nothing said."""
    big = placed(0, width_m=1.0, distance_m=0.6)
    base = ([light(0, "KEY", "key")], [big], [read(0, 160.0)])
    assert of_kind("evenness", *base) == []
    full = of_kind("evenness", *base, details={"framing": "full length"})[0]
    assert full.rank >= 1
    assert full.numbers["spread_stops"] > 4
    assert "common practice" in full.text
    assert of_kind("evenness", *base, details={"face_height_m": 1.5})[0].rank < 1
    for bad in (-1, "tall", True, None):
        assert of_kind("evenness", *base, details={"face_height_m": bad}) == []


def test_backdrop_readings_become_a_finding() -> None:
    """Nine numbered points of one light: spread, darkest point, map; old placements and other points do not count."""
    values = [80, 100, 80, 90, 160, 90, 70, 80, 70]
    nine = [read(0, float(v), order=i, point=f"backdrop{i + 1}", receptor="flat") for i, v in enumerate(values)]
    stale = read(0, 1.0, order=20, point="backdrop1", receptor="flat")._replace(placement_id="gone")
    lights = [light(0, "BACK", "background", point="backdrop5")]
    found = of_kind("backdrop", lights, [placed(0)], [*nine, stale, read(0, 5.0, point="face")])
    assert len(found) == 1
    assert found[0].light == "BACK"
    assert "1.19" in found[0].text
    assert "backdrop7" in found[0].text
    assert found[0].rank >= 1
    assert len(found[0].numbers["map"]) == 3
    even = [one._replace(exposure_lxs=100.0) for one in nine]
    assert of_kind("backdrop", lights, [placed(0)], even)[0].rank < 1
    assert of_kind("backdrop", lights, [placed(0)], nine[:2]) == []
    mixed = [nine[0]._replace(receptor="dome"), *nine[1:]]
    assert "like with like" in of_kind("backdrop", lights, [placed(0)], mixed)[0].text
