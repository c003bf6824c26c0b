"""Name a bad build from what its acceptance shows: cause, the evidence for it, what to do.

The causes are tried from the one that spoils most other checks to the one that spoils fewest; a cause that explains a
failure silences the weaker ones for the same rows.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from meterlink.calibration.acceptance import HIGH, LOW
from meterlink.calibration.evidence import MAX_DARK_LX, REPORTED_FULL_LX
from meterlink.calibration.findings import LIMITS, RIM_LIMIT, Findings, angle_limit
from meterlink.units import format_illuminance
from meterlink.words.language import marked

EARLY = 0.9
"""A range that is cut off below this part of it: the builds reach 0.95 and more (their own design)."""
SOFT_PEAK = 0.15
"""Stops that the peak of two lights may fall short of the sum of their peaks: heads do not fire at the same microsecond."""


class Fault(NamedTuple):
    """A probable cause."""

    name: str
    """One of ``NAMES``."""
    evidence: str
    remedy: str


NAMES = {
    marked("swapped resistors"): marked(
        "the feedback resistors, or the two gain wires, are in each other's place: change them over"
    ),
    marked("wrong resistor"): marked("measure both feedback resistors: one is not what the parts list says"),
    marked("range clips early"): marked(
        "the amplifier gives way before the converter does: measure its supply, look for a load on its output and "
        "for a reference above the supply; until then trust nothing above the level named"
    ),
    marked("not linear"): marked(
        "the diode works against a voltage: check that it sits between the amplifier's two inputs and that nothing is "
        "in series with it"
    ),
    marked("mains hum"): marked("shield the diode's leads, twist the cable, ground the housing, run from a battery and try again"),
    marked("loose contact"): marked("re-solder the diode and the feedback parts, press on each joint and watch the figure"),
    marked("dark offset"): marked(
        "the diode is the wrong way round, damaged or dirty (flux between its pins): turn, clean, replace"
    ),
    marked("zero not lifted"): marked(
        "the divider at the amplifier's plus input is missing, shorted or of the wrong values: measure there"
    ),
    marked("light leak"): marked("light enters beside the dome: paint the housing black inside, seal the seam, cap again"),
    marked("leaky dome"): marked("light reaches the diode around the dome's rim: raise the dark collar and blacken the rim"),
    marked("flat in place of dome"): marked("a disk is mounted, or the dome is far too shallow: mount the dome"),
    marked("wrong angle response"): marked("move the diode up or down behind the receptor, see receptors.md, and test again"),
    marked("slow amplifier"): marked(
        "the feedback capacitor is too large (a wrong decade is common): measure it, see the parts list"
    ),
    marked("dome plane"): marked("the mark on the housing is not where the dome's reference plane is: move the mark by the figure"),
    marked("drift"): marked("let the sensor warm up for five minutes; if it stays, the diode or the reference is damaged"),
}


def name_faults(findings: Findings, receptor: str) -> tuple[Fault, ...]:
    """Return the probable causes, most telling first; empty when nothing fails."""
    found: list[Fault] = []
    for rule in _RULES:
        named = rule(_Case(findings, receptor, {f.name for f in found}))
        if named:
            found.append(Fault(named[0], named[1], NAMES[named[0]]))
    return tuple(found)


_Named = tuple[str, str] | None


class _Case(NamedTuple):
    findings: Findings
    receptor: str
    known: set[str]
    """Causes named already."""


def _ranges(case: _Case) -> _Named:
    f = case.findings
    for stops in f.overlap_stops:
        # Swapped, the sensitivity ratio r turns into 1/r: off by twice its logarithm, 6.6 stops at a ratio of ten.
        if stops < -2.0:
            return "swapped resistors", f"the sensitive range is the other one ({stops:+.1f} stops from the design)"
        if abs(stops) > LIMITS["overlap"]:
            return "wrong resistor", f"the ranges' ratio is {stops:+.2f} stop from the design"
    return None


def _hum(case: _Case) -> _Named:
    f = case.findings
    if f.modulation > LIMITS["hum"]:
        return "mains hum", f"a battery torch seems to waver by ±{f.modulation:.0%}"
    return None


def _contact(case: _Case) -> _Named:
    f, _, known = case
    if f.repeat_stops > 1.5 * LIMITS["repeat"] and "mains hum" not in known:
        return "loose contact", f"the same pop scatters by {f.repeat_stops:.2f} stop although nothing moved"
    return None


def _dark(case: _Case) -> _Named:
    f = case.findings
    if not f.dark_raw or not f.pedestal_raw:
        # A sensor that reports lux has no zero of its own to be off: what it shows in the dark is light (``_leak``).
        return None
    worst, least = max(f.dark_raw), min(f.dark_raw)
    lifted = f"{f.pedestal_raw:.0%} is where the zero belongs"
    if worst > f.pedestal_raw + LIMITS["dark"]:
        return "dark offset", f"{worst:.1%} of full scale in the dark, {lifted}"
    if least < f.pedestal_raw - LIMITS["dark"]:
        return "zero not lifted", f"{least:.1%} of full scale in the dark, {lifted}"
    return None


def _leak(case: _Case) -> _Named:
    f = case.findings
    if not f.pedestal_raw:
        lux = REPORTED_FULL_LX * max((*f.dark_raw, f.leak_raw), default=0.0)
        return ("light leak", f"{format_illuminance(lux)} under the cap") if lux > MAX_DARK_LX else None
    if f.leak_raw > LIMITS["leak"]:
        return "light leak", f"{f.leak_raw:.1%} of full scale through the cap with the room lit"
    return None


def _drift(case: _Case) -> _Named:
    f, _, known = case
    if abs(f.drift_raw) > LIMITS["drift"] and not known & {"dark offset", "loose contact", "mains hum"}:
        return "drift", f"the dark moved by {f.drift_raw:+.1%} of full scale during the walk"
    return None


def _linearity(case: _Case) -> _Named:
    f, _, known = case
    if known & {"loose contact", "mains hum"}:
        return None
    for _, ceiling in f.ceilings:
        if ceiling < EARLY:
            return "range clips early", f"the pulse is cut off flat at {ceiling:.0%} of the range"
    bad = {key: v for key, (v, u) in f.additivity.items() if v + 2 * u < -LIMITS["additivity"]}
    for (index, level), (stops, top) in f.peaks.items():
        low, _ = f.peaks.get((index, LOW), (0.0, 0.0))
        if level == HIGH and stops < -SOFT_PEAK and low < -SOFT_PEAK / 3:
            return "not linear", f"peaks of two lights add up to {-stops:.2f} stop too little, {-low:.2f} at the bottom too"
        if level == HIGH and stops < low - SOFT_PEAK:
            return "range clips early", f"the pulse of two lights ends at {top:.0%} of the range, {-stops:.2f} stop short"
    tops = [key for key in bad if key[1] == HIGH]
    bottoms = [key for key in bad if key[1] == LOW]
    if bottoms:
        return "not linear", f"two lights together read {-min(bad.values()):.2f} stop too little, at the bottom too"
    if tops:
        worst = min(bad[key] for key in tops)
        return "range clips early", f"two lights together read {-worst:.2f} stop too little at the top, right below"
    return None


def _plane(case: _Case) -> _Named:
    f, _, known = case
    if f.distance is None or known & {"range clips early", "not linear", "loose contact", "mains hum"}:
        return None
    if abs(f.distance.origin_m) - 3 * f.distance.u_origin_m > LIMITS["origin"]:
        where = "behind" if f.distance.origin_m > 0 else "before"
        return "dome plane", f"the inverse-square law puts it {abs(f.distance.origin_m) * 100:.1f} cm {where} its mark"
    return None


def _angle(case: _Case) -> _Named:
    f, receptor, known = case
    if f.angle is None or known & {"loose contact", "mains hum"}:
        return None
    errors = {a: (e, u) for a, e, u in f.angle.error_stops}
    off = {a: e for a, (e, u) in errors.items() if abs(e) - 2 * u > angle_limit(a)}
    side = errors.get(90.0, (0.0, 0.0))[0]
    if receptor == "dome" and side < -0.8:
        return "flat in place of dome", f"{side:+.1f} stop at the side, where a disk sees nothing"
    if f.rim_stops > RIM_LIMIT:
        return "leaky dome", f"{f.rim_stops:+.1f} stop from behind beyond what the front lets expect"
    if off:
        worst = max(off, key=lambda a: abs(off[a]))
        return "wrong angle response", f"{off[worst]:+.2f} stop at {worst:g} degrees"
    return None


def _slow(case: _Case) -> _Named:
    f = case.findings
    if f.shortest_s is not None and f.shortest_s > LIMITS["short"]:
        return "slow amplifier", f"the shortest flash seems to last {f.shortest_s * 1e6:.0f} µs (t0.5)"
    return None


_RULES: tuple[Callable[[_Case], _Named], ...] = (
    _ranges, _hum, _contact, _dark, _leak, _drift, _linearity, _plane, _angle, _slow,
)  # fmt: skip
