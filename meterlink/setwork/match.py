"""Bringing a set back to a stored one: what differs at each light's point, and what closes it.

What is brought back is the *light at the point*, not the dials: a replaced head or modifier is recognised and named, and its
power still worked out so that the face gets what it got.  When all lights are off alike, one change of ISO or
aperture is offered instead of one per light.
"""

from __future__ import annotations

from math import hypot, log2
from typing import NamedTuple

from meterlink import units
from meterlink.setwork.closing import Move, close, move_text
from meterlink.setwork.ratios import STOPS_PER_RELATIVE
from meterlink.setwork.view import LightState, SetView

REPLACED_STOPS = 0.6
"""A head that gives so much more or less at the same dial and distance is taken for another one (our own limit)."""
ALIKE_STOPS = 0.12
"""Lights whose differences lie this close together are off by one common amount."""


class MatchRow(NamedTuple):
    """One light of the stored set beside the present one."""

    light: str
    stored_lxs: float | None
    now_lxs: float | None
    difference_stops: float | None
    """Present minus stored: negative is under."""
    u95_stops: float | None
    tolerance_stops: float
    """The tolerance asked for, or half of the fixture's own step where that is coarser."""
    within: bool
    move: Move | None
    replaced: str
    """Why it looks like another head or modifier; empty when it does not."""
    sentence: str

    def as_json(self) -> dict[str, object]:
        """Return the row as JSON data."""
        data = self._asdict()
        data["move"] = self.move._asdict() if self.move else None
        return data


class MatchReport(NamedTuple):
    """All lights, and what one change of the camera would do."""

    rows: tuple[MatchRow, ...]
    common_stops: float | None
    """Difference that all lights share, when one change of ISO or aperture closes it; positive is over."""
    camera: str
    """That change in words; empty without one."""

    @property
    def done(self) -> bool:
        """True when every light of the stored set is within its tolerance."""
        return bool(self.rows) and all(row.within for row in self.rows)

    def as_json(self) -> dict[str, object]:
        """Return the report as JSON data."""
        return {
            "rows": [row.as_json() for row in self.rows],
            "common_stops": self.common_stops,
            "camera": self.camera,
            "done": self.done,
        }


def match_row(
    stored: LightState, now: LightState | None, stored_view: SetView, now_view: SetView, tolerance_stops: float
) -> MatchRow:
    """Compare one light of the stored set with its counterpart (None: it is not in the present set)."""
    name = stored.light.name
    step = stored.light.power_step_stops if now is None else now.light.power_step_stops
    tolerance = max(tolerance_stops, (step or 0.0) / 2 + 0.01) if step else tolerance_stops
    if stored.value is None or stored.reading is None or not stored.value > 0:
        return MatchRow(name, None, None, None, None, tolerance, False, None, "", f"{name} has no reading in the stored set")
    if now is None:
        said = f"{name} is missing: set it up and add it to the set"
        return MatchRow(name, stored.value, None, None, None, tolerance, False, None, "", said)
    replaced = source_change(stored, now)
    if now.value is None or now.reading is None or not now.value > 0:
        return MatchRow(name, stored.value, None, None, None, tolerance, False, None, replaced, f"{name} waits for its pop")
    difference = log2(now.value / stored.value)
    u = _u_difference(stored, now, stored_view, now_view)
    within = abs(difference) <= tolerance
    replaced = replaced or _output_change(stored, now, difference)
    move = None
    if not within and now.placement is not None:
        falloff = now_view.falloffs.get(now.light.modifier) if now.light.modifier else None
        move = close(now.light, now.placement, -difference, falloff=falloff)
    sentence = _sentence(now, difference, 2 * u, within, move, replaced)
    return MatchRow(name, stored.value, now.value, difference, 2 * u, tolerance, within, move, replaced, sentence)


def _u_difference(stored: LightState, now: LightState, stored_view: SetView, now_view: SetView) -> float:
    """Standard uncertainty of the difference: both readings, and both scales unless it is one calibration."""
    assert stored.reading is not None
    assert now.reading is not None
    parts = [one.judged.u_stops for one in (stored, now) if one.judged is not None]
    if stored.reading.calibration_id != now.reading.calibration_id:
        for state, view in ((stored, stored_view), (now, now_view)):
            calibration = view.calibrations.get(state.reading.calibration_id if state.reading else "")
            parts.append((calibration.u_scale_rel if calibration else 0.1) * STOPS_PER_RELATIVE)
    return hypot(*parts)


def source_change(stored: LightState, now: LightState) -> str:
    """Say which part of the source differs from the stored one: head, modifier, shape or size, grid, gel, diffusers."""
    changes = []
    for what, a, b in (
        ("head", stored.light.fixture, now.light.fixture),
        ("modifier", stored.light.modifier, now.light.modifier),
    ):
        if a and b and a.casefold() != b.casefold():
            changes.append(f"{what} {b} instead of {a}")
    old, new = stored.placement, now.placement
    if old is not None and new is not None:
        if (old.shape, old.width_m, old.height_m) != (new.shape, new.width_m, new.height_m):
            changes.append("another shape or size of source")
        if old.grid_deg != new.grid_deg:
            changes.append("another grid")
        if old.gel.casefold() != new.gel.casefold():
            changes.append("another gel")
        if old.diffusers.casefold() != new.diffusers.casefold():
            changes.append("other diffusers")
    return ", ".join(changes)


def _output_change(stored: LightState, now: LightState, difference: float) -> str:
    """Recognise another head by its output: the same dial and distance, and much more or less light."""
    old, new = stored.placement, now.placement
    if old is None or new is None or now.light.source_light_id:
        return ""
    same_dial = old.power_stops is not None and old.power_stops == new.power_stops
    same_place = old.distance_m is not None and new.distance_m is not None and abs(old.distance_m / new.distance_m - 1) < 0.05
    if same_dial and same_place and abs(difference) >= REPLACED_STOPS:
        more = "more" if difference > 0 else "less"
        return f"{abs(difference):.1f} stop {more} at the same power and distance: another head, tube or modifier?"
    return ""


def _sentence(
    now: LightState, difference: float, u95: float, within: bool, move: Move | None, replaced: str
) -> str:
    name = now.light.name
    if within:
        said = f"{name} matches ({units.format_stops(difference, 2)} ± {u95:.1f})"
    else:
        said = f"{name} is {abs(difference):.1f} stop {'over' if difference > 0 else 'under'} (± {u95:.1f})"
        if move is not None:
            said += f": {move_text(now.light, move).partition(': ')[2]}"
    return f"{said}; {replaced}" if replaced else said


def match_report(stored: SetView, now: SetView, tolerance_stops: float | None = None) -> MatchReport:
    """Compare a stored set with the present one, light by light (paired by name)."""
    tolerance = tolerance_stops if tolerance_stops is not None else now.settings.match_tolerance_stops
    present = {state.light.name.casefold(): state for state in now.lights}
    rows = tuple(
        match_row(state, present.get(state.light.name.casefold()), stored, now, tolerance)
        for state in stored.lights
        if state.reading is not None or state.stale is not None
    )
    common, camera = _common(rows, now, tolerance)
    return MatchReport(rows, common, camera)


def _common(rows: tuple[MatchRow, ...], now: SetView, tolerance: float) -> tuple[float | None, str]:
    """Find one difference that all lights share, and say which change of the camera closes it."""
    differences = [row.difference_stops for row in rows if row.difference_stops is not None]
    if len(differences) < 2 or len(differences) < len(rows):
        return None, ""
    middle = sum(differences) / len(differences)
    if abs(middle) <= tolerance or max(abs(d - middle) for d in differences) > max(ALIKE_STOPS, tolerance):
        return None, ""
    thirds = round(-middle * 3)
    if thirds == 0:
        return None, ""
    iso = now.setup.iso * 2.0 ** (thirds / 3)
    rest = middle + thirds / 3
    left = "" if abs(rest) < 0.05 else f" (leaves {units.format_stops(rest, 2)})"
    word = "open up" if thirds > 0 else "close down"
    return middle, (
        f"all lights are {abs(middle):.1f} stop {'over' if middle > 0 else 'under'} alike: {word} by "
        f"{abs(thirds)}/3 stop, or set {units.format_iso(iso)}, instead of touching {len(differences)} lights{left}"
    )
