"""One consistent look at a set: every light with its placement, the reading that counts, and what it is worth.

``look(...)`` is pure: records in, ``SetView`` out.  Tables, checks, targets and match all start from it, so that
they can never disagree about which reading is current.

A reading counts for a light when it was made of the light's *present* placement, at the light's own point.  After a
move or a change of power the old one is kept as ``stale`` and never shown as current.  A passive reflector is read as
the difference of two pops of its source, with and without it, and is stale as soon as its source has moved.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from math import hypot, log, sqrt
from typing import Any, NamedTuple

from meterlink.judging.verdict import Judged, judge
from meterlink.records import Calibration, Light, Placement, Reading, Settings, Setup

_LN2 = log(2.0)


class LightState(NamedTuple):
    """A light as it stands now."""

    light: Light
    placement: Placement | None
    reading: Reading | None
    """The reading that counts; for a reflector a reading whose value is the difference of two pops."""
    judged: Judged | None
    stale: Reading | None = None
    """The last reading of an older placement, when there is no current one."""
    stale_reason: str = ""
    missing: str = ""
    """What to do to get a reading, when there is none."""

    @property
    def value(self) -> float | None:
        """Light at the point after correction (lx·s for flash, lx for steady light); None without a reading."""
        return None if self.judged is None else self.judged.corrected


class SetView(NamedTuple):
    """Everything that tables and checks need, and nothing that they could change."""

    setup: Setup
    settings: Settings
    lights: tuple[LightState, ...]
    readings: tuple[Reading, ...]
    """All effective readings of the set-up, oldest first."""
    calibrations: Mapping[str, Calibration]
    falloffs: Mapping[str, Any] = {}
    """Measured falloff by name of the modifier."""
    history: tuple[Any, ...] = ()
    """What fixtures gave in earlier sets, for predictions."""
    waves: Callable[[str], Any] | None = None
    """Reading id -> (times in s, light in lx) of its kept waveform, or None; absent where nobody needs waveforms."""

    def state(self, light_id: str) -> LightState | None:
        """Return the state of one light, None when it is not in the set."""
        return next((s for s in self.lights if s.light.id == light_id), None)

    @property
    def key(self) -> LightState | None:
        """The key light: the first with that role."""
        return next((s for s in self.lights if s.light.role == "key"), None)


def quoted(name: str) -> str:
    """Return a light's name as it is typed in a command."""
    return f"'{name}'" if " " in name else name


ADDS_NOTHING = "it adds less than can be seen here: bring it nearer, take a bigger one, or leave it out"


def value_of(reading: Reading) -> float | None:
    """Light at the dome as read: lx·s of a flash, lx of steady light."""
    return reading.exposure_lxs if reading.kind == "flash" else reading.illuminance_lx


def _same_way(a: Reading, b: Reading) -> bool:
    """Say whether two readings were taken with the dome in the same way, so that one may be taken from the other."""
    return (
        a.kind == b.kind
        and a.receptor == b.receptor
        and a.point == b.point
        and a.held_off_m == b.held_off_m
        and a.held_off_toward == b.held_off_toward
        and a.calibration_id == b.calibration_id
    )


def _latest(readings: Iterable[Reading], light: Light, purpose: str) -> Reading | None:
    found = None
    for r in readings:
        if r.light_id == light.id and r.purpose == purpose and r.point == light.point:
            found = r
    return found


def difference(with_it: Reading, without_it: Reading, u_pop_stops: float = 0.0) -> Reading:
    """Return the reading of a reflector alone: with minus without.

    The uncertainties of both pops add in quadrature as absolute amounts, so a weak reflector is read with a large
    relative uncertainty.  ``u_pop_stops`` is the head's spread from
    pop to pop, which each of the two has in full: what of it exceeds that of an ordinary pop is carried in ``u_rel``.
    """
    high, low = value_of(with_it) or 0.0, value_of(without_it) or 0.0
    gain = high - low
    spread = u_pop_stops * _LN2
    excess = spread * sqrt(max(0.0, high * high + low * low - gain * gain))
    u_rel = hypot(high * with_it.u_rel, low * without_it.u_rel, excess) / gain if gain > 0 else 1.0
    fields: dict[str, Any] = {"exposure_lxs": gain} if with_it.kind == "flash" else {"illuminance_lx": gain}
    return with_it._replace(
        u_rel=u_rel,
        pops=(),
        clipped=with_it.clipped or without_it.clipped,
        too_dim=with_it.too_dim or without_it.too_dim,
        **fields,
    )


def _direct_state(light: Light, placement: Placement | None, mine: list[Reading]) -> tuple[Reading | None, str]:
    """Return the reading of a light that counts, and why it is stale when it is."""
    reading = _latest(mine, light, "alone")
    if reading is None:
        return None, ""
    if placement is not None and reading.placement_id != placement.id:
        return reading, "moved or re-powered since it was metered"
    return reading, ""


def _reflector_state(
    light: Light,
    placement: Placement | None,
    source_placement: Placement | None,
    readings: list[Reading],
    u_pop_stops: float,
) -> tuple[Reading | None, str, str]:
    """Return (difference reading, why stale, what is missing) of a passive reflector."""
    with_it = _latest(readings, light, "with")
    if with_it is None:
        return None, "", f"meter it, two pops of its source: meterlink meter {quoted(light.name)}"
    without = _latest(readings, light, "without")
    if without is None:
        candidates = [
            r
            for r in readings
            if r.light_id == light.source_light_id
            and r.purpose == "alone"
            and r.aim == with_it.aim
            and _same_way(r, with_it)
        ]
        without = candidates[-1] if candidates else None
    if without is None:
        return None, "", f"its pop without it is missing: meterlink meter {quoted(light.name)} takes both again"
    if not _same_way(with_it, without):
        return None, "", f"its two pops were metered differently: meterlink meter {quoted(light.name)} takes both again"
    reading = difference(with_it, without, u_pop_stops)
    if placement is not None and with_it.placement_id != placement.id:
        return reading, "moved since it was metered", ""
    oldest = min(with_it.id, without.id)
    if source_placement is not None and source_placement.id > oldest:
        return reading, "its source was moved or re-powered since", ""
    return reading, "", ""


def look(
    setup: Setup,
    lights: Iterable[Light],
    placements: Mapping[str, Placement],
    readings: Iterable[Reading],
    calibrations: Mapping[str, Calibration],
    settings: Settings,
    *,
    falloffs: Mapping[str, Any] | None = None,
    history: Iterable[Any] = (),
) -> SetView:
    """Build the view from the records of one set-up.

    ``placements`` maps a light's id to its present placement; ``readings`` are the effective ones (neither void nor
    superseded), oldest first.
    """
    falloffs = falloffs or {}
    all_readings = sorted(readings, key=lambda r: r.id)
    by_light: dict[str, list[Reading]] = {}
    for r in all_readings:
        if r.light_id is not None:
            by_light.setdefault(r.light_id, []).append(r)
    states = []
    for light in sorted((one for one in lights if not one.removed), key=lambda one: (one.order, one.id)):
        placement = placements.get(light.id)
        missing = "meter it: meterlink meter " + quoted(light.name)
        if light.source_light_id:
            near = by_light.get(light.id, []) + by_light.get(light.source_light_id, [])
            near.sort(key=lambda r: r.id)
            source = placements.get(light.source_light_id)
            reading, stale_reason, missing = _reflector_state(light, placement, source, near, settings.u_repeat_stops)
        else:
            reading, stale_reason = _direct_state(light, placement, by_light.get(light.id, []))
        if reading is None or stale_reason:
            states.append(LightState(light, placement, None, None, reading, stale_reason, missing))
            continue
        judged = judge(
            reading,
            placement,
            settings,
            calibration=calibrations.get(reading.calibration_id),
            falloff=falloffs.get(light.modifier) if light.modifier else None,
        )
        if light.source_light_id and not (value_of(reading) or 0.0) > 0.0:
            judged = judged._replace(reason=ADDS_NOTHING)
        states.append(LightState(light, placement, reading, judged))
    return SetView(setup, settings, tuple(states), tuple(all_readings), calibrations, falloffs, tuple(history))
