"""What a light should give at its point, from what its fixture gave before, and how sure that is.

A past reading of the same fixture with the same modifier is carried to the present placement: along the source's
falloff from its distance then to its distance now, and by the power steps between.  The uncertainty is what that
history earned: its own reading, both distances, the source's model over the change of distance, and how well the
dial's steps are known.  Dials that do not deliver what they say are learnt, as a curve of the fixture, from its readings
at several powers; until then a step is trusted to ``U_STEP`` of itself.

Values are log2 of lx·s.  Standard library only.
"""

from collections.abc import Iterable, Sequence
from math import log, log2, sqrt
from typing import NamedTuple

from meterlink.judging.case import Falloff, axial_light, emission_of
from meterlink.judging.correction import triangular_u
from meterlink.judging.power_curve import PowerCurve, learn_power
from meterlink.photometry.sources import Point, on_axis, source_of
from meterlink.records.kept import Light, Placement, Reading, Settings
from meterlink.words.told import Told, told

U_CALIBRATION_STOPS = 0.07
"""Between two calibrations of one sensor, or two sensors: 5 %, common practice, no published source."""
U_LAMP_STOPS = 0.03
"""Tube, voltage and fabric from one day to another: our own estimate, no published source."""
_LN2 = log(2.0)


class Past(NamedTuple):
    """What a fixture gave once: a good reading of it as it stood then, corrected to its point."""

    light: Light
    placement: Placement
    reading: Reading
    value: float
    """log2 of lx·s (lx for steady light) at the point."""
    u_stops: float
    """Standard uncertainty of that reading: repeat and correction."""

    def is_of(self, light: Light) -> bool:
        """Whether a light's head gave this; a light without a head of a name is its own."""
        return self.light.fixture.casefold() == light.fixture.casefold() if light.fixture else self.light.id == light.id

    @property
    def stand(self) -> tuple[object, ...]:
        """What readings share that differ by power only: the same light in the same place, dressed and metered the same."""
        r, p = self.reading, self.placement
        return (self.light.id, self.light.modifier, r.kind, r.receptor, r.calibration_id, p.place, p.surface, p.dress)


def curve_from(pasts: Iterable[Past]) -> PowerCurve:
    """Return what a head's dial was found to deliver, from readings of it that differ in power alone."""
    return learn_power((one.placement.power_stops, one.value, one.u_stops, one.stand) for one in pasts)


class Prediction(NamedTuple):
    """What to expect of a light."""

    value: float
    """log2 of lx·s at the point."""
    u_stops: float
    pasts: int
    """Past readings that it rests on."""
    same_setup: bool
    """Whether any of them is of this very set."""
    reason: Told
    """What it rests on."""

    @property
    def exposure_lxs(self) -> float:
        """The value as luminous exposure (or illuminance, for steady light)."""
        return float(2.0**self.value)


class _Carried(NamedTuple):
    value: float
    variance: float
    """Own variance: independent from one past reading to the next."""
    slope: float
    """Stops per metre of the present distance: the same error for all."""
    model: float


def predict(
    light: Light,
    placement: Placement,
    pasts: Iterable[Past],
    settings: Settings = Settings(),  # noqa: B008 - an immutable record
    *,
    calibration_id: str = "",
    receptor: str = "dome",
    falloff: Falloff | None = None,
    without_reading: str = "",
) -> Prediction | None:
    """Return what ``light`` should give in ``placement``, None when nothing of its kind was seen before.

    ``pasts`` may hold anything; only the same fixture with the same modifier and source counts (for a light without
    a fixture's name: its own earlier placements).  ``without_reading`` is the id of the reading under test.
    """
    fitting = [one for one in pasts if one.reading.id != without_reading or not without_reading]
    fitting = [one for one in fitting if one.reading.receptor == receptor and _same_source(light, placement, one)]
    if not fitting or placement.distance_m is None:
        fitting = [one for one in fitting if _same_place(placement, one, light)]
    if not fitting:
        return None
    curve = curve_from(fitting)
    carried = []
    for one in fitting:
        found = _carry(light, placement, one, settings, curve, calibration_id, falloff)
        if found is not None:
            carried.append(found)
    if not carried:
        return None
    return _combined(carried, placement, settings, fitting)


def _same_source(light: Light, placement: Placement, past: Past) -> bool:
    """Whether a past reading is of the same fixture, modifier, source, grid and gel."""
    same = past.light.fixture == light.fixture if light.fixture else past.light.id == light.id
    then = past.placement
    return same and (past.light.modifier, then.surface, then.dress) == (light.modifier, placement.surface, placement.dress)


def _same_place(placement: Placement, past: Past, light: Light) -> bool:
    """Whether only the power was changed since: the distance then is the distance now, error and all."""
    return past.light.id == light.id and past.placement.place == placement.place


def _carry(
    light: Light,
    placement: Placement,
    past: Past,
    settings: Settings,
    curve: PowerCurve,
    calibration_id: str,
    falloff: Falloff | None,
) -> _Carried | None:
    """Bring one past reading to the present placement."""
    then = past.placement
    value, variance = past.value, past.u_stops**2
    if placement.power_stops is not None and then.power_stops is not None:
        change, u_power = curve.change(then.power_stops, placement.power_stops)
        value += change
        variance += u_power**2
    elif placement.power_text != then.power_text or (placement.power_stops is None) != (then.power_stops is None):
        return None
    if calibration_id and past.reading.calibration_id and calibration_id != past.reading.calibration_id:
        variance += U_CALIBRATION_STOPS**2
    if _same_place(placement, past, light):
        return _Carried(value, variance, 0.0, 0.0)
    if then.distance_m is None or placement.distance_m is None:
        return None
    if past.light.setup_id != light.setup_id:
        variance += U_LAMP_STOPS**2
    change, slope_then, slope_now, model = along(placement, then.distance_m, placement.distance_m, past.reading.receptor, falloff)
    u_then = settings.u_distance_m(then.distance_m, then.u_distance_m)
    return _Carried(value + change, variance + (slope_then * u_then) ** 2, slope_now, model)


def along(
    placement: Placement, then_m: float, now_m: float, receptor: str, falloff: Falloff | None
) -> tuple[float, float, float, float]:
    """Change in stops from one distance to another, its slopes in both, and the uncertainty of the source's model."""
    if falloff is not None:
        step = 1e-3
        slope_then = falloff.change_stops(then_m * (1 - step), then_m * (1 + step)) / (2 * step * then_m)
        slope_now = falloff.change_stops(now_m * (1 - step), now_m * (1 + step)) / (2 * step * now_m)
        return falloff.change_stops(then_m, now_m), slope_then, slope_now, falloff.u_change_stops(then_m, now_m)
    source = source_of(*placement.surface)
    emission_n = emission_of(placement)
    before, slope_then = axial_light(source, then_m, receptor, emission_n)
    after, slope_now = axial_light(source, now_m, receptor, emission_n)
    change = uniform = log2(after / before)
    if emission_n != 1.0:
        uniform = log2(on_axis(source, now_m, receptor)[0] / on_axis(source, then_m, receptor)[0])
    square = Point().change_stops(then_m, now_m)
    return change, slope_then / _LN2, slope_now / _LN2, triangular_u(change, uniform, square)


def _combined(carried: Sequence[_Carried], placement: Placement, settings: Settings, pasts: Sequence[Past]) -> Prediction:
    """Weighted mean of what the past readings say, with the present distance's error common to all."""
    weights = [1.0 / max(1e-6, one.variance + one.model**2) for one in carried]
    total = sum(weights)
    value = sum(w * one.value for w, one in zip(weights, carried, strict=True)) / total
    own = sum(w * w * one.variance for w, one in zip(weights, carried, strict=True)) / total**2
    # The model's error goes the same way for all that were carried the same way: taken as wholly shared.
    model = sum(w * one.model for w, one in zip(weights, carried, strict=True)) / total
    slope = sum(w * one.slope for w, one in zip(weights, carried, strict=True)) / total
    now_m = placement.distance_m
    u_now = 0.0 if now_m is None else settings.u_distance_m(now_m, placement.u_distance_m)
    if len(carried) > 1:
        # Pasts that disagree more than they should earn a wider interval.
        chi2 = sum(w * (one.value - value) ** 2 for w, one in zip(weights, carried, strict=True)) / (len(carried) - 1)
        own *= max(1.0, chi2)
    same_setup = any(one.slope == 0.0 for one in carried)
    head = pasts[0].light.fixture or told("this_light")
    words = told("earlier_readings", count=len(carried), head=head) if len(carried) > 1 else told("earlier_reading", head=head)
    return Prediction(value, sqrt(own + model**2 + (slope * u_now) ** 2), len(carried), same_setup, words)


def causes(stops: float, *, repowered: bool = False) -> Told:
    """Return what plausibly makes a reading ``stops`` too high (positive) or too low, most common first."""
    if stops > 0:
        found = ["held_toward", *(["not_dumped"] if repowered else []), "slave"]
    else:
        found = ["not_recycled", "turned_away", "shadow", "clipped_word"]
    return told("causes", causes=tuple(told(one) for one in found))
