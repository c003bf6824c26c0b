"""What the next pop should give, so that range and sampling are chosen before it: a wasted pop is a question too many.

In this order: the light's own reading, unless it is contradicted or was given to it, moved by what was changed since; the
set-up that this one was copied from or rebuilds; what the head gave in other sets; another light of the set by dial and
distance.  Where nothing is known of any light, the camera's settings say roughly what the set is lit for.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from meterlink.errors import MeterlinkError
from meterlink.judging.expected import expected_value, placement_change_stops, rough_value
from meterlink.judging.judged_set import JudgedSet, LightState, value_of
from meterlink.judging.verdict import Why
from meterlink.library.whole_sets import entries_elsewhere
from meterlink.metering.opened_set import OpenedSet
from meterlink.metering.walk import Request
from meterlink.photometry.exposure import luminous_exposure
from meterlink.records import Calibration, Kind, Placement, Purpose, Reading
from meterlink.sensor.measuring.calibrate import scale_of
from meterlink.sensor.measuring.ranges import for_peak
from meterlink.tables.match import noted_aperture

REFLECTED_POP = 0.6
"""What a dome toward a card gets of its source's light, roughly: only chooses the sensor's range."""
USUAL_APERTURE = 8.0
"""What a studio is lit for, roughly (common practice, no published source): only chooses the sensor's range."""
USUAL_PULSE_S = 1e-3
"""Exposure over peak of a head that has not told: only compares the lights of a walk."""
LEAST_PEAK = 0.035
"""Of full scale: from here on the pops of 8 bits that the chip's model gives are seen and read within a tenth of a stop, k=2
(measured on it, flashes of 0.2 to 1.5 ms; no published source)."""
STORED = "match:stored"
COPIED = "copied"
"""Where the library remembers which set-up another one rebuilds, or was copied from."""


class Expectation(NamedTuple):
    """What a pop should give at the dome."""

    exposure_lxs: float
    pulse_s: float | None = None
    """Exposure over peak, when this head has told."""
    t01_s: float | None = None


def expectation_of(opened: OpenedSet, request: Request | None) -> Expectation | None:
    """Return what a request's pop should give; None when nothing is known, or when it is no pop."""
    if request is None or request.kind != Kind.FLASH or request.purpose == Purpose.ROOM:
        return None
    placements, view = opened.placements_fired(), opened.view()
    view = view._replace(lights=tuple(one._replace(placement=placements.get(one.light.id)) for one in view.lights))
    if request.light_id is not None:
        return _alone(opened, view, request.light_id)
    parts = [_share(opened, view, light_id) for light_id in request.lit]
    known = [part for part in parts if part is not None]
    total = sum(part.exposure_lxs for part in known)
    if len(known) < len(parts) or not total > 0.0:
        return None
    firing = [part for part in known if part.exposure_lxs > 0.0]
    peaks = [part.exposure_lxs / part.pulse_s for part in firing if part.pulse_s]
    longest = max((part.t01_s for part in known if part.t01_s), default=None)
    return Expectation(total, total / sum(peaks) if len(peaks) == len(firing) else None, longest)


def camera_asks_for(opened: OpenedSet, constant: float) -> float | None:
    """Return what the camera wants of a first light (lx·s): by the aperture noted, else the usual one, at its ISO.

    None once a light has a reading: the range that this one left is the better guess.  ``constant``: the calibration's, in lx.
    """
    setup = opened.setup
    if any(state.reading is not None for state in opened.view().lights):
        return None
    asked = luminous_exposure(noted_aperture(setup) or USUAL_APERTURE, setup.iso, constant)
    return float(asked * 2.0 ** (setup.filter_stops - setup.camera_offset_stops))


def _share(opened: OpenedSet, view: JudgedSet, light_id: str) -> Expectation | None:
    """What one of several lights gives of a pop of all; a reflector what it adds, once that is known."""
    state = view.state(light_id)
    if state is not None and state.light.source_light_id:
        return Expectation(max(state.value or 0.0, 0.0))
    return _alone(opened, view, light_id)


def _alone(opened: OpenedSet, view: JudgedSet, light_id: str) -> Expectation | None:
    state = view.state(light_id)
    if state is None:
        return None
    if state.light.source_light_id:
        # The dome looks at the card and sees the source from the side, at half or so.
        source = _alone(opened, view, state.light.source_light_id)
        return None if source is None else source._replace(exposure_lxs=REFLECTED_POP * source.exposure_lxs)
    records = opened.known.records
    own = [r for r in records.readings if r.light_id == light_id and r.purpose == Purpose.ALONE and r.kind == Kind.FLASH]
    # One that is contradicted was perhaps another light's: the range for that one could be deaf to its own.
    contradicted = state.judged is not None and state.judged.why == Why.CONTRADICTED
    own = [] if contradicted else _never_given(own, records.readings)
    value = expected_value(state, own, records.placements)
    if value is not None and own:
        return _like(own[-1], value, view)
    found = _of_origin(opened, state) or _of_head(opened, state)
    if found is None and (rough := rough_value(view, state)) is not None:
        return Expectation(rough)
    return found


def _never_given(own: list[Reading], past: Iterable[Reading]) -> list[Reading]:
    """Leave out pops that were given from one light to another: they were taken when somebody thought otherwise."""
    before = {r.id: r for r in past}
    given: set[str] = set()
    for r in before.values():
        earlier = before.get(r.supersedes_id or "")
        if earlier is not None and (earlier.light_id != r.light_id or (earlier.id in given and same_pop(r, earlier))):
            given |= {earlier.id, r.id}
    return [r for r in own if r.id not in given]


def same_pop(new: Reading, old: Reading) -> bool:
    """Whether one record only says something else of the other one's pop."""
    return new.supersedes_id == old.id and (new.taken_at_s, new.exposure_lxs) == (old.taken_at_s, old.exposure_lxs)


def _like(reading: Reading, value: float, view: JudgedSet) -> Expectation:
    peak_lx = reading.peak_lx or _least_peak_lx(reading, view)
    pulse_s = reading.exposure_lxs / peak_lx if reading.exposure_lxs and peak_lx else None
    return Expectation(value, pulse_s, reading.t01_s)


def _least_peak_lx(reading: Reading, view: JudgedSet) -> float | None:
    """Full scale, where the peak of its last pop was beyond it: a range that it fills no more is to be chosen next."""
    used = view.calibrations.get(reading.calibration_id) if reading.pops and reading.pops[-1].clipped else None
    return used.ranges[reading.range_index].full_scale_lx if used is not None and reading.range_index < len(used.ranges) else None


def _moved(reading: Reading, old: Placement | None, state: LightState, view: JudgedSet) -> Expectation | None:
    """What a reading of an earlier placement leads one to expect of the present one."""
    value = value_of(reading)
    if value is None or old is None or state.placement is None or reading.kind != Kind.FLASH:
        return None
    change = placement_change_stops(old, state.placement)
    return None if change is None else _like(reading, value * 2.0**change, view)


def _of_origin(opened: OpenedSet, state: LightState) -> Expectation | None:
    library, setup_id = opened.library, opened.setup.id
    origin_id = library.recall(f"{STORED}:{setup_id}") or library.recall(f"{COPIED}:{setup_id}")
    if not isinstance(origin_id, str):
        return None
    try:
        view = OpenedSet(library, origin_id, now=opened.now).view()
    except MeterlinkError:
        # It was on another machine, or is gone: then it tells nothing.
        return None
    names = {one.light.name.casefold(): one for one in view.lights}
    stored = names.get(state.light.name.casefold())
    return _moved(stored.reading, stored.placement, state, view) if stored is not None and stored.reading is not None else None


def _of_head(opened: OpenedSet, state: LightState) -> Expectation | None:
    if not state.light.fixture:
        return None
    head = state.light.fixture
    at_hand = [entry for one in opened.known.elsewhere for entry in one.entries(effective=True) if entry[0].fixture == head]
    for light, placement, reading in reversed(at_hand or entries_elsewhere(opened.library, opened.setup.id, {head})):
        if light.modifier.casefold() == state.light.modifier.casefold() and reading.purpose == Purpose.ALONE:
            found = _moved(reading, placement, state, opened.view())
            if found is not None:
                return found
    return None


def beyond_one_range(opened: OpenedSet, requests: Iterable[Request]) -> tuple[list[str], list[str]]:
    """Several lights may fire next, and the sensor can listen on one range only: which of them does that range not read?

    Returns the ids of the lights that need a coarser range, and of those that it does not read; both empty when it reads all.
    The range is the brightest one's, so that nothing clips; a light so much weaker that its pop would be lost there, or read
    badly, waits until those have fired.  Lights of which nothing is known are in neither.
    """
    expected = [(r.light_id or "", one) for r in requests if (one := expectation_of(opened, r)) is not None]
    calibration = _calibration(opened) if len(expected) > 1 else None
    if calibration is None or len(calibration.ranges) < 2:
        return [], []
    peaks = {light_id: one.exposure_lxs / (one.pulse_s or USUAL_PULSE_S) for light_id, one in expected}
    coarse = for_peak(max(peaks.values()), calibration)
    full_scale_lx = scale_of(calibration, coarse).full_scale_lx
    finer = [one for one, peak_lx in peaks.items() if for_peak(peak_lx, calibration) != coarse]
    weak = [one for one in finer if peaks[one] < LEAST_PEAK * full_scale_lx]
    if not weak:
        return [], []
    return [one for one in peaks if one not in finer], weak


def _calibration(opened: OpenedSet) -> Calibration | None:
    """Of the sensor in use, else of the last one that was used."""
    readings = opened.known.records.readings
    used = opened.calibration_id or (readings[-1].calibration_id if readings else "")
    try:
        return opened.library.calibration(used) if used else None
    except MeterlinkError:
        return None
