"""Small sets for the tests of what is made of readings."""

from __future__ import annotations

import math
from typing import Any

from meterlink.judging.judge import judge_set
from meterlink.judging.judged_set import JudgedSet
from meterlink.judging.prediction import Past
from meterlink.photometry.sources import on_axis, source_of
from meterlink.records import Light, Placement, Reading, Settings, Setup

SETTINGS = Settings()
CAMERA_AIM = {"purpose": "together", "aim": "camera", "held_off_m": 0.0, "u_held_off_m": 0.0}


def light(number: int, name: str, role: str = "other", **fields: Any) -> Light:
    """A light of the set ``s`` with the id ``l<number>``."""
    return Light(f"l{number}", "s", name, role, order=number, **fields)


def placed(number: int, **fields: Any) -> Placement:
    """Where light ``number`` stands: a disk of 90 cm, 1.2 m away, unless said otherwise."""
    base: dict[str, Any] = {"shape": "disk", "width_m": 0.9, "distance_m": 1.2, "azimuth_deg": 0.0, "elevation_deg": 0.0}
    return Placement(f"p{number}", f"l{number}", 1.0, **{**base, **fields})


def read(number: int, exposure_lxs: float, held_m: float = 0.0, order: int = 0, **fields: Any) -> Reading:
    """What the dome reads ``held_m`` toward the light when the light at the point is ``exposure_lxs``, declared 0."""
    base: dict[str, Any] = {"held_off_m": 0.0, "point": "face", **fields}
    return Reading(
        f"{order:016d}{number:016d}", "s", f"l{number}", f"p{number}", "c", "x", 10.0 + order, exposure_lxs=exposure_lxs, **base
    )


def gave(head: str, place: Placement, value: float, u_stops: float = 0.04, **fields: Any) -> Past:
    """What a head gave once, by default in another set; ``fields`` are of its light or of its reading."""
    about = {"modifier": "", "setup_id": "e", "light_id": "old", "reading_id": "", "calibration_id": "c", **fields}
    of_light = Light(about.pop("light_id"), about["setup_id"], head, "other", fixture=head, modifier=about.pop("modifier"))
    base: dict[str, Any] = {"sensor_id": "x", "taken_at_s": 5.0, "light_id": of_light.id, "placement_id": place.id}
    return Past(of_light, place, Reading(about.pop("reading_id"), **{**base, **about}), value, u_stops)


def hot(placement: Placement, held_m: float) -> float:
    """Factor by which a dome held off toward the light reads too high."""
    source = source_of(*placement.surface)
    distance = placement.distance_m or 1.0
    return on_axis(source, distance - held_m)[0] / on_axis(source, distance)[0]


def seen(placement: Placement) -> float:
    """Part of a small light that a camera-facing dome sees."""
    az, el = math.radians(placement.azimuth_deg or 0.0), math.radians(placement.elevation_deg or 0.0)
    return (1 + math.cos(az) * math.cos(el)) / 2


def all_at_once(exposure_lxs: float, lit: tuple[int, ...], order: int = 9, **fields: Any) -> Reading:
    """One pop of several lights, dome at the face and aimed at the camera."""
    base: dict[str, Any] = {**CAMERA_AIM, **fields}
    return Reading(
        f"{order:016d}{0:016d}", "s", None, None, "c", "x", 10.0 + order,
        exposure_lxs=exposure_lxs, lit=tuple(f"l{i}" for i in lit), **base,
    )  # fmt: skip


def view(
    lights: list[Light], placements: list[Placement], readings: list[Reading], settings: Settings = SETTINGS, **more: Any
) -> JudgedSet:
    """The set as checks see it."""
    details = more.pop("details", {})
    setup = Setup("s", "test", 0.0, details=details)
    return judge_set(setup, lights, {one.light_id: one for one in placements}, readings, {}, settings, **more)
