"""What we think of a reading: ``good``, ``corrected`` or ``retake``, always with a reason.

Decided on the expanded uncertainty U (k=2) of correction and repeatability together.  The calibration scale is not
part of it: all readings share it, it cancels in ratios, and the absolute f-number shows it separately.

* good:      |correction| <= 0.1 stop and U <= 0.2 stop
* corrected: U <= 1/3 stop
* retake:    anything else; also clipped, too dim, or held off by more than half of the light's distance.  What the other
  readings of a set say against one is weighed afterwards (``contradiction.contradicted``)

The limits are in ``Settings``.  Standard library only: this module is on the start-up path of the ratio table.
"""

from enum import StrEnum
from math import hypot, log, sqrt
from typing import NamedTuple

from meterlink.judging.case import Falloff
from meterlink.judging.correction import Correction, correct
from meterlink.records.kept import BORROWED_FROM, FACE, OTHER_RECEPTOR_U_STOPS, Calibration, Placement, Reading, Settings
from meterlink.words.told import NOTHING, Told, all_of, told, told_again


class Verdict(StrEnum):
    """What a value of the table is worth."""

    GOOD = "good"
    CORRECTED = "corrected"
    RETAKE = "retake"
    EXPECTED = "expected"
    """Not metered as it stands: a small turn that was told and made since its last pop."""


class Why(StrEnum):
    """What decided the verdict."""

    AS_IT_IS = "as_it_is"
    CLIPPED = "clipped"
    TOO_DIM = "too_dim"
    NO_LIGHT = "no_light"
    ADDS_NOTHING = "adds_nothing"
    """A reflector that adds less than can be told from two pops."""
    NO_FIGURE = "no_figure"
    """The geometry allows no correction: its refusal says why."""
    CONTRADICTED = "contradicted"
    """By the pop of all lights, by a prediction or by repeats: ``JudgedSet.blamed`` has cause and amount."""
    HALF_WAY = "half_way"
    """Held off by more than half of the light's distance."""
    TOO_WIDE = "too_wide"
    """Its interval is wider than what may be corrected."""
    SET_AS_TOLD = "set_as_told"


GOOD, CORRECTED, RETAKE, EXPECTED = Verdict.GOOD, Verdict.CORRECTED, Verdict.RETAKE, Verdict.EXPECTED
PRIOR_POPS = 4
"""The assumed spread counts as much as this many pops, so that two lucky pops do not look perfect."""
_LN2 = log(2.0)


class Judged(NamedTuple):
    """A reading, brought to its point and judged."""

    verdict: Verdict
    said: Told
    """The reason, as a code with its numbers."""
    corrected: float | None
    """Light at the point, lx·s for a flash, lx for steady light; None when nothing can be said."""
    correction: Correction
    repeat_u_stops: float
    u_stops: float
    """Standard uncertainty (k=1) of correction and repeatability together, without the calibration scale."""
    why: Why = Why.AS_IT_IS
    against: Told = NOTHING
    """What the other readings of the set say against it: by whom it is contradicted and by how much; empty when nothing."""

    @property
    def reason(self) -> str:
        """The reason in words, for the place and in the language in use."""
        return str(self.said)

    @property
    def u95_stops(self) -> float:
        """Expanded uncertainty, k=2."""
        return 2.0 * self.u_stops

    @property
    def inverse_square_stops(self) -> float | None:
        """What plain inverse square would have added: shown so that one learns how much the source's size does."""
        return self.correction.inverse_square_stops

    @property
    def lacks_distance(self) -> bool:
        """Whether all that it lacks is the light's distance: it counts once that is said, and no new pop is needed."""
        return self.why == Why.TOO_WIDE and self.correction.assumed_distance

    @property
    def correction_stops(self) -> float | None:
        """What was added to the reading; None when nothing can be said."""
        return self.correction.stops


def signed(stops: float) -> str:
    """Return stops to a tenth with their sign as printed: ``+0.3``, ``−0.5``, ``0.0``."""
    rounded = round(stops, 1)
    if rounded == 0:
        return "0.0"
    return f"{'+' if rounded > 0 else '−'}{abs(rounded):.1f}"


def repeat_u_stops(reading: Reading, assumed_u_stops: float) -> float:
    """Return the standard uncertainty of a reading from its pops' spread, its noise and sampling, in stops.

    The spread of n pops about their mean is pooled with the assumed one, then divided by the square root of n.
    """
    noise = reading.u_rel / _LN2
    exposures = [pop.exposure_lxs for pop in reading.pops if pop.exposure_lxs > 0]
    n = max(1, len(exposures))
    spread2 = assumed_u_stops * assumed_u_stops
    if n > 1:
        mean = sum(exposures) / n
        squares = sum((value / mean - 1.0) ** 2 for value in exposures) / (_LN2 * _LN2)
        spread2 = (PRIOR_POPS * spread2 + squares) / (PRIOR_POPS + n - 1)
    return sqrt(spread2 / n + noise * noise)


def judge(
    reading: Reading,
    placement: Placement | None,
    settings: Settings = Settings(),  # noqa: B008 - an immutable record
    *,
    calibration: Calibration | None = None,
    falloff: Falloff | None = None,
) -> Judged:
    """Return ``reading`` brought to its light's point, with verdict and reason.

    ``calibration`` brings the receptor's measured angular response, ``falloff`` is that of this very modifier.
    Without a placement nothing is known of where the light stands; it is then assumed as for a missing distance.
    Never raises for what a set can hold.
    """
    placement = placement or Placement("", "", 0.0)
    angle_response = calibration.angle_response if calibration is not None else ()
    correction = correct(reading, placement, settings, falloff, angle_response)
    repeat = repeat_u_stops(reading, settings.u_repeat_stops)
    u = sqrt(correction.u_stops * correction.u_stops + repeat * repeat)
    as_read = reading.exposure_lxs if reading.kind == "flash" else reading.illuminance_lx
    corrected = None
    if as_read is not None and correction.stops is not None:
        corrected = as_read * 2.0**correction.stops
    verdict, why, reason = _verdict(reading, as_read or 0.0, placement, settings, correction, u, calibration)
    return Judged(verdict, reason, corrected, correction, repeat, u, why)


def _verdict(
    reading: Reading,
    as_read: float,
    placement: Placement,
    settings: Settings,
    correction: Correction,
    u: float,
    calibration: Calibration | None,
) -> tuple[Verdict, Why, Told]:
    """The verdict, what decided it, and its reason."""
    if reading.clipped:
        return RETAKE, Why.CLIPPED, told("clipped")
    if reading.too_dim:
        return RETAKE, Why.TOO_DIM, told("too_dim")
    if not as_read > 0.0:
        return RETAKE, Why.NO_LIGHT, told("no_light")
    if correction.stops is None:
        return RETAKE, Why.NO_FIGURE, correction.refusal
    said = _said(reading, correction, u)
    said = all_of(said, beyond_range(reading), outside_claim(reading, calibration), uncalibrated_receptor(reading, calibration))
    half = placement.distance_m is not None and correction.held_off_m > placement.distance_m / 2
    if half and not correction.assumed_reach:
        return RETAKE, Why.HALF_WAY, told("half_way", what=said, point=reading.point)
    if abs(correction.stops) <= settings.good_correction_stops and 2 * u <= settings.good_u95_stops:
        return GOOD, Why.AS_IT_IS, said
    if 2 * u <= settings.corrected_u95_stops:
        return CORRECTED, Why.AS_IT_IS, said
    return RETAKE, Why.TOO_WIDE, all_of(said, _what_to_do(reading, correction, u), by=": ")


def _said(reading: Reading, correction: Correction, u: float) -> Told:
    """What was corrected and by how much."""
    stops = correction.stops or 0.0
    amount = {"stops": stops, "u95": 2 * u}
    at = reading.point or FACE
    if correction.assumed_reach:
        # The ends of the assumed reach lie evenly about the middle that the correction carries.
        most = round(200 * correction.held_off_m)
        return told("both_assumed" if correction.assumed_distance else "reach_assumed", most_cm=most, **amount)
    if correction.assumed_distance and correction.held_off_m > 0:
        return told("distance_assumed", **amount)
    if correction.held_off_m <= 0.0:
        return told("dome_at", point=at, u95=2 * u)
    receptor = told("dome" if reading.receptor == "dome" else "flat_receptor")
    where = held_where(correction.toward, receptor=receptor, held_off_m=correction.held_off_m, point=at)
    if abs(stops) < 0.05:
        return told("reads_right", where=where)
    return told("reads_hot" if stops < 0 else "reads_low", where=where, **amount)


def beyond_range(reading: Reading) -> Told:
    """Say that the peak was beyond the sensor's range, so that light is known by its bounds and t0.1 is not; else nothing."""
    if reading.t01_s is not None or not any(pop.clipped for pop in reading.pops):
        return NOTHING
    return told("beyond_range", u95=2.0 * reading.u_rel / _LN2)


def uncalibrated_receptor(reading: Reading, calibration: Calibration | None) -> Told:
    """Say that the sensor was never calibrated with this reading's receptor, and by how much that may be off; else nothing."""
    if calibration is None:
        return NOTHING
    own = calibration.receptor == reading.receptor
    if own and BORROWED_FROM not in calibration.details:
        return NOTHING
    # One made for another receptor states what it knows of its own only.
    u = calibration.u_scale_rel / _LN2 if own else hypot(calibration.u_scale_rel / _LN2, OTHER_RECEPTOR_U_STOPS)
    return told("uncalibrated_receptor", receptor=told(f"{reading.receptor}_receptor"), u95=2 * u)


def outside_claim(reading: Reading, calibration: Calibration | None) -> Told:
    """Say that a reading is outside the light over which its calibration claims a tenth of a stop; nothing when it is not.

    The claim is ``Calibration.details["claim"]`` (``calibrating.claim``); without one there is nothing to be outside of.
    """
    claim = calibration.details.get("claim") if calibration is not None else None
    light = reading.peak_lx if reading.kind == "flash" else reading.illuminance_lx
    if not claim or light is None:
        return NOTHING
    try:
        spans = claim["flash_peak_lx" if reading.kind == "flash" else "steady_lx"]
        span = spans[reading.range_index] if reading.range_index < len(spans) else None
        if span is None:
            return told("formula", why=told_again(claim["why"], "claim_")) if claim["why"] else told("no_claim")
        low, high = span
        limit = float(claim["stops"])
        if light < low:
            return told("below_claim", limit=limit)
        if light > high:
            return told("beyond_claim", limit=limit)
    except (KeyError, TypeError, ValueError, OverflowError):
        return NOTHING  # a library from elsewhere may hold anything
    return NOTHING


def held_where(toward: str, **where: object) -> Told:
    """Where the receptor was held, seen from the point."""
    if toward in ("light", "up", "down", "camera", "left", "right"):
        return told(f"held_{toward}", **where)
    return told("held_elsewhere", toward=toward, **where)


def _what_to_do(reading: Reading, correction: Correction, u_stops: float) -> Told:
    """What would make a reading with too wide an interval usable: the largest part decides."""
    parts = (
        (correction.held_off_u_stops, told("at_point", point=reading.point)),
        (correction.distance_u_stops, told("tape")),
        (correction.model_u_stops, told("large_and_near", point=reading.point)),
        (correction.direction_u_stops, told("say_where")),
    )
    if correction.assumed_distance:
        return told("give_its_distance")
    largest = max(parts, key=lambda part: part[0])
    spread = sqrt(max(0.0, u_stops * u_stops - correction.u_stops * correction.u_stops))
    if largest[0] > max(0.08, spread):
        return largest[1]
    if reading.kind == "steady":
        return told("light_wavers")
    return told("adds_too_little" if reading.purpose == "with" else "let_recycle")
