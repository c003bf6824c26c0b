"""Room light against the flash at the working shutter, judged where the picture is lit least.

The level comes from ``meterlink meter --room`` (with modelling lamps on, off, or not said), else from the light before the
pops where a sensor's range can tell it.  A part is what one sees as one: the key side of the face, its shadow side
(fill alone), the hair, the rim, the background; each with its own room reading where there is one.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import inf, isfinite, log2
from typing import Any, NamedTuple

from meterlink import units
from meterlink.checks.facts import camera
from meterlink.checks.findings import CAUTION, FINE, NOTE, Finding
from meterlink.judging.judged_set import JudgedSet
from meterlink.photometry import ambient
from meterlink.photometry.series import nearest_time_s
from meterlink.records import Calibration, Reading
from meterlink.records.kept import OWN_POINT_ROLES
from meterlink.tables.ratios import exposure_lxs
from meterlink.words.actions import Do
from meterlink.words.told import NOTHING, Told, all_of, told

LAMPS_ON, LAMPS_OFF = "lamps on", "lamps off"
LAMPS = {LAMPS_ON: "lamps_on", LAMPS_OFF: "lamps_off"}
KEY_SIDE, SHADOW_SIDE, FACE_ALONE = "key_side", "shadow_side", "the_face"
"""Parts of the picture beside the points that have a light of their own."""
WANTED_STOPS = ambient.stops_for_added(ambient.LITTLE_STOPS)
"""The flash this far above the room (3.8 stops) leaves less than a tenth of a stop."""
LEAST_GAIN_STOPS = 0.15
"""Nobody is sent to the shutter's dial for less."""
BLOCK_STEPS = 256
"""Waveforms come in 8 bits: a level below one step of them cannot be told."""
U_DARK_RAW = 0.001
"""Drift of a sensor's zero, as part of full scale, where its calibration does not say: our own estimate."""


class Level(NamedTuple):
    """How bright the room is at one place."""

    illuminance_lx: float
    u_lx: float
    source: str
    """``room reading``, ``before the pops``."""
    lamps: str = ""
    """``lamps on``, ``lamps off`` or not said."""
    lamps_add_lx: float | None = None
    """What the modelling lamps add, where the room was read with and without them."""
    other_lx: float | None = None
    """The level with the lamps off, where the judged one is with them on."""
    below: bool = False
    """Whether the sensor could not tell it from dark: the level is then its limit, the room is darker by nobody knows how much."""


def level(view: JudgedSet, point: str = "face") -> Level | None:
    """Return the room's level at a point: the latest room reading there, else at the face, else from before the pops.

    With readings for lamps on and off, the one with them on is judged: they burn in most pictures.
    """
    rooms = _rooms(view)
    here = [r for r in rooms if r.point == point] or [r for r in rooms if r.point == "face"]
    if here:
        on, off = _latest(here, LAMPS_ON), _latest(here, LAMPS_OFF)
        chosen = on or _latest(here, "") or off
        assert chosen is not None
        value, limit = max(chosen.illuminance_lx or 0.0, 0.0), limit_lx(view, chosen)
        if limit is not None:
            return Level(limit, 0.0, "room reading", chosen.note, below=True)
        dark = max(off.illuminance_lx or 0.0, limit_lx(view, off) or 0.0) if off is not None and chosen is on else None
        adds = None if dark is None else ambient.modelling_illuminance(value, dark)
        return Level(value, value * chosen.u_rel, "room reading", chosen.note, adds, dark)
    return _before_the_pops(view)


def resolution_lx(calibration: Calibration | None, range_index: int) -> float:
    """Return the light below which a range tells nothing but that it is less, in lx; 0 where its calibration does not say."""
    if calibration is None or range_index >= len(calibration.ranges):
        return 0.0
    return _u_dark(calibration.details, range_index) * calibration.ranges[range_index].full_scale_lx


def limit_lx(view: JudgedSet, room: Reading) -> float | None:
    """Return the light that a room reading is only known to be below, in lx; None where it was told from dark."""
    least = resolution_lx(view.calibrations.get(room.calibration_id), room.range_index)
    return least if (room.illuminance_lx or 0.0) < least else None


def lamps_told_nothing(view: JudgedSet, room: Reading) -> bool:
    """Whether the room was read at this point with the lamps on and off, and neither could be told from dark."""
    here = [r for r in _rooms(view) if r.point == room.point]
    both = [_latest(here, note) for note in LAMPS]
    return all(one is not None and limit_lx(view, one) is not None for one in both)


def _rooms(view: JudgedSet) -> list[Reading]:
    return [r for r in view.readings if r.purpose == "room" and r.illuminance_lx is not None and not r.clipped]


def _latest(readings: list[Reading], note: str) -> Reading | None:
    return next((r for r in reversed(readings) if (r.note if r.note in (LAMPS_ON, LAMPS_OFF) else "") == note), None)


def _before_the_pops(view: JudgedSet) -> Level | None:
    """The level that the most sensitive pop saw before it, with how little its range can tell."""
    found: list[Level] = []
    for reading in view.readings:
        calibration = view.calibrations.get(reading.calibration_id)
        seen = reading.ambient_lx
        if reading.kind != "flash" or seen is None or calibration is None or reading.range_index >= len(calibration.ranges):
            continue
        scale = calibration.ranges[reading.range_index]
        if calibration.method != "assumed" and scale.dark_raw == 0.0:
            # Nobody measured this sensor's zero: what it reads in the dark may be anything.
            continue
        u = scale.full_scale_lx * max(_u_dark(calibration.details, reading.range_index), 1 / BLOCK_STEPS / 12**0.5)
        found.append(Level(max(seen, 0.0), u, "before the pops"))
    return min(found, key=lambda one: one.u_lx) if found else None


def _u_dark(details: dict[str, Any], range_index: int) -> float:
    known = details.get("u_dark_raw")
    if isinstance(known, list | tuple) and range_index < len(known):
        value = known[range_index]
        if isinstance(value, int | float) and not isinstance(value, bool) and 0.0 <= value < 1.0:
            return float(value)
    return U_DARK_RAW


def lit_parts(view: JudgedSet) -> dict[str, tuple[str, float]]:
    """Return what lights each part of the picture: {part: (point, flash exposure in lx·s)}.

    Without a fill the shadow side of the face has no flash of its own and is left out: the room is its fill.
    """
    parts: dict[str, tuple[str, float]] = {}
    key = fill = 0.0
    for state in view.lights:
        value, reading = state.value, state.reading
        if value is None or reading is None or not value > 0.0 or reading.kind != "flash":
            continue
        amount = exposure_lxs(value, reading.kind, view.setup.shutter_s) or 0.0
        role = state.light.role
        if role in OWN_POINT_ROLES:
            before = parts.get(state.light.point, ("", 0.0))[1]
            parts[state.light.point] = (state.light.point, before + amount)
        elif role == "key":
            key += amount
        else:
            fill += amount
    if key:
        parts[KEY_SIDE] = ("face", key + fill)
    if fill:
        parts[SHADOW_SIDE if key else FACE_ALONE] = ("face", fill)
    return parts


def room_light(view: JudgedSet) -> Iterable[Finding]:
    """How far the flash stands above the room, at the part where it matters most."""
    parts, time_s = lit_parts(view), view.setup.shutter_s
    if not parts:
        return
    levels = {part: level(view, point) for part, (point, _) in parts.items()}
    known = {part: one for part, one in levels.items() if one is not None}
    if not known:
        return
    if time_s is None or not time_s > 0.0:
        if any(one.source == "room reading" for one in known.values()):
            yield Finding("room_light", NOTE + 0.3, "", told("room_unjudged"), told("do", do=Do("give_shutter")), {})
        return
    judged = {part: ambient.judge(parts[part][1], one.illuminance_lx, time_s, part) for part, one in known.items()}
    worst = min(judged, key=lambda part: judged[part].flash_over_room_stops)
    at = known[worst]
    if at.source != "room reading":
        yield from _without_reading(worst, parts[worst][1], at, time_s)
    elif judged[worst].verdict != "clean" and not at.below:
        yield _finding(view, judged, worst, parts[worst][1], at)
    else:
        room = judged[worst]
        numbers = {"part": worst, "room_lx": at.illuminance_lx, "flash_over_room_stops": _plain(room.flash_over_room_stops)}
        clean = room.verdict == "clean"
        said, do = room_said(room), NOTHING if clean else _remedy(view, parts[worst][1], at, time_s)
        if at.below:
            limits = {"lx": at.illuminance_lx, "above": room.flash_over_room_stops, "part": part_said(worst)}
            said, numbers["room_is_limit"] = told("room_below_clean" if clean else "room_below", **limits), True
            numbers["lamps"] = at.lamps
        yield Finding("room_light", FINE if clean else NOTE + 0.35, "", said, do, numbers)


def _without_reading(part: str, exposure: float, at: Level, time_s: float) -> Iterable[Finding]:
    """What the light before the pops allows to say: clean for sure is silence, otherwise read the room."""
    most = at.illuminance_lx + 2 * at.u_lx
    k = ambient.flash_over_room_stops(exposure, most, time_s)
    if k >= WANTED_STOPS:
        return
    sure = at.illuminance_lx > 3 * at.u_lx
    room = ambient.judge(exposure, at.illuminance_lx if sure else most, time_s, part)
    if sure and room.verdict == "clean":
        return
    rank = (CAUTION if sure and room.verdict == "ghosts" else NOTE) + 0.35
    said = told("room_unknown", lx=most, part=part_said(part), above=k)
    if sure:
        said = told("room_before_pops", room=_with_least(room, k))
    numbers = {"part": part, "room_lx": at.illuminance_lx, **_stops(exposure, at, time_s)}
    yield Finding("room_light", rank, "", said, told("read_it", do=Do("meter_room_lamps")), numbers)


def _stops(exposure: float, at: Level, time_s: float) -> dict[str, float | None]:
    """How far the flash stands above the room, for JSON: by the level as read, and at the least, with the room at its k=2 end."""
    least = ambient.flash_over_room_stops(exposure, at.illuminance_lx + 2 * at.u_lx, time_s)
    return {
        "u_room_lx": at.u_lx,
        "flash_over_room_stops": _plain(ambient.flash_over_room_stops(exposure, at.illuminance_lx, time_s)),
        "flash_over_room_least_stops": _plain(least),
    }


def _with_least(room: ambient.RoomLight, least_stops: float) -> Told:
    """The judgement, with the least that the flash stands above the room where that is another number in print."""
    same = f"{least_stops:.1f}" == f"{room.flash_over_room_stops:.1f}" or not isfinite(least_stops)
    said = room_said(room)
    return said if same else told("room_at_least", room=said, least=least_stops)


def _finding(view: JudgedSet, judged: dict[str, ambient.RoomLight], worst: str, exposure: float, at: Level) -> Finding:
    room, time_s = judged[worst], view.setup.shutter_s or 1.0
    stops = _stops(exposure, at, time_s)
    least = stops["flash_over_room_least_stops"]
    said = _with_least(room, inf if least is None else least)
    text = told("room_read", room=said)
    if at.lamps in LAMPS:
        text = told("room_read_lamps", room=said, lamps=told(LAMPS[at.lamps]))
    numbers = {
        "part": worst, "room_lx": at.illuminance_lx, "lamps": at.lamps, "lamps_add_lx": at.lamps_add_lx, **stops,
        "added_stops": room.added_stops, "share": room.share, "ghost_stops": _plain(room.ghost_stops),
        "parts": {part: _plain(one.flash_over_room_stops) for part, one in judged.items()}, "wanted_stops": WANTED_STOPS,
    }  # fmt: skip
    rank = CAUTION + min(0.9, 0.4 + room.share / 2) if room.verdict == "ghosts" else NOTE + 0.7
    return Finding("room_light", rank, "", text, _remedy(view, exposure, at, time_s), numbers)


def room_said(room: ambient.RoomLight) -> Told:
    """The judgement of the room light at a part of the picture, with its numbers."""
    part = part_said(room.part)
    if not isfinite(room.flash_over_room_stops):
        return told("room_none", part=part)
    if room.verdict == "clean":
        return told("room_clean", above=room.flash_over_room_stops, part=part)
    numbers = {"above": room.flash_over_room_stops, "part": part, "added": room.added_stops, "share": room.share}
    return told("room_visible" if room.verdict == "visible" else "room_ghosts", **numbers)


def part_said(part: str) -> Told:
    """A part of the picture: one of ours, or a point as its light names it."""
    return told(part) if part in (KEY_SIDE, SHADOW_SIDE, FACE_ALONE) else told("part_at_point", point=part)


def _plain(stops: float) -> float | None:
    return stops if isfinite(stops) else None


def _remedy(view: JudgedSet, exposure: float, at: Level, time_s: float) -> Told:
    """What brings the room down: lamps, shutter up to the sync speed, then power with a smaller aperture."""
    remedy = ambient.remedy(exposure, at.illuminance_lx, time_s, WANTED_STOPS)
    said = []
    if at.other_lx is not None and at.lamps_add_lx and at.lamps_add_lx > 0.1 * at.illuminance_lx:
        gain = told("lamps_off_gain", stops=log2(at.illuminance_lx / at.other_lx)) if at.other_lx > 0.0 else told("lamps_off_all")
        said.append(gain)
    facts = camera(view.setup, view.settings)
    limit = 0.0 if facts.shutter is not None and facts.shutter.kind == "leaf" else facts.sync_speed_s
    shorter = nearest_time_s(max(remedy.shutter_s, limit)).value
    if shorter < limit * 0.97:  # not by the rounding of its name alone
        shorter *= 2 ** (1 / 3)
    rest, gained = remedy.stops, log2(time_s / shorter)
    if gained > LEAST_GAIN_STOPS:
        rest -= gained
        do = Do("set_shutter", shutter=units.format_shutter(shorter).removesuffix(" s"))
        said.append(told("do", do=do) if rest <= 0.1 else told("shorter_sync", do=do, gained=gained, of=remedy.stops))
    if rest > 0.18:
        # Less than that is the rounding of the shutter's dial.
        said.append(told("more_power", stops=rest))
    return all_of(*said)
