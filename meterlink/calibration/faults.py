"""Name a bad build from what its acceptance shows: cause, the evidence for it, what to do.

The causes are tried from the one that spoils most other checks to the one that spoils fewest; a cause that explains a
failure silences the weaker ones for the same rows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import islice
from typing import NamedTuple

from meterlink.calibration.acceptance import HIGH, LOW
from meterlink.calibration.evidence import MAX_DARK_LX, REPORTED_FULL_LX
from meterlink.calibration.findings import LIMITS, RIM_LIMIT, Findings, angle_limit
from meterlink.words.told import Told, told

EARLY = 0.9
"""A range that is cut off below this part of it: the builds reach 0.95 and more (their own design)."""
SOFT_PEAK = 0.15
"""Stops that the peak of two lights may fall short of the sum of their peaks: heads do not fire at the same microsecond."""


class Fault(NamedTuple):
    """A probable cause."""

    name: str
    """A name of ``words/phrases/faults.py``."""
    evidence: Told

    @property
    def remedy(self) -> Told:
        """What to do about it."""
        return told(f"remedy of {self.name}")


def name_faults(findings: Findings) -> tuple[Fault, ...]:
    """Return the probable causes, most telling first; empty when nothing fails."""
    found: list[Fault] = []
    for rule in _RULES:
        found += first_of(rule(findings, {f.name for f in found}))
    return tuple(found)


def first_of(causes: Causes) -> list[Fault]:
    """Return the first of the causes that rules name; none, or that one."""
    return [Fault(*named) for named in islice(causes, 1)]


Causes = Iterator[tuple[str, Told]]
"""What a rule names, from what was found and the causes that are named already; the first counts."""


def _ranges(f: Findings, _known: set[str]) -> Causes:
    for stops in f.overlap_stops:
        # A ratio of ten that is missing is 3.3 stops, turned into a tenth 6.6; a wrong decade of one resistor leaves a stop of it.
        if stops < -3.8:
            yield "swapped resistors", told("other_is_sensitive", stops=stops)
        if stops < -2.8:
            yield "range does not switch", told("ratio_off", stops=stops)
        if abs(stops) > LIMITS["overlap"]:
            yield "wrong resistor", told("ratio_off", stops=stops)


def _hum(f: Findings, _known: set[str]) -> Causes:
    if f.modulation > LIMITS["hum"]:
        yield "mains hum", told("torch_wavers", part=f.modulation)


def _contact(f: Findings, known: set[str]) -> Causes:
    if f.repeat_stops > 1.5 * LIMITS["repeat"] and "mains hum" not in known:
        yield "loose contact", told("pop_scatters", stops=f.repeat_stops)


def _dark(f: Findings, _known: set[str]) -> Causes:
    if not f.dark_raw or not f.pedestal_raw:
        # A sensor that reports lux has no zero of its own to be off: what it shows in the dark is light (``_leak``).
        return
    worst, least = max(f.dark_raw), min(f.dark_raw)
    if worst > f.pedestal_raw + LIMITS["dark"]:
        yield "dark offset", told("dark_off", part=worst, zero=f.pedestal_raw)
    if least < f.pedestal_raw - LIMITS["dark"]:
        yield "zero not lifted", told("dark_off", part=least, zero=f.pedestal_raw)


def _leak(f: Findings, _known: set[str]) -> Causes:
    if not f.pedestal_raw:
        lux = REPORTED_FULL_LX * max((*f.dark_raw, f.leak_raw), default=0.0)
        if lux > MAX_DARK_LX:
            yield "light leak", told("lux_under_cap", lux=lux)
    elif f.leak_raw > LIMITS["leak"]:
        yield "light leak", told("through_cap", part=f.leak_raw)


def _drift(f: Findings, known: set[str]) -> Causes:
    if abs(f.drift_raw) > LIMITS["drift"] and not known & {"dark offset", "loose contact", "mains hum"}:
        yield "drift", told("dark_moved", part=f.drift_raw)


def _linearity(f: Findings, known: set[str]) -> Causes:
    if known & {"loose contact", "mains hum"}:
        return
    for _, ceiling in f.ceilings:
        if ceiling < EARLY:
            yield "range clips early", told("cut_flat", part=ceiling)
    bad = {key: v for key, (v, u) in f.additivity.items() if v + 2 * u < -LIMITS["additivity"]}
    for (index, level), (stops, top) in f.peaks.items():
        low, _ = f.peaks.get((index, LOW), (0.0, 0.0))
        if level == HIGH and stops < -SOFT_PEAK and low < -SOFT_PEAK / 3:
            yield "not linear", told("peaks_short", stops=-stops, bottom=-low)
        if level == HIGH and stops < low - SOFT_PEAK:
            yield "range clips early", told("pulse_ends", part=top, stops=-stops)
    if any(level == LOW for _, level in bad):
        yield "not linear", told("together_short", stops=-min(bad.values()))
    if bad:
        yield "range clips early", told("together_short_top", stops=-min(bad.values()))


def _plane(f: Findings, known: set[str]) -> Causes:
    if f.distance is None or known & {"range clips early", "not linear", "loose contact", "mains hum"}:
        return
    if abs(f.distance.origin_m) - 3 * f.distance.u_origin_m > LIMITS["origin"]:
        yield "dome plane", told("plane_behind" if f.distance.origin_m > 0 else "plane_before", off=abs(f.distance.origin_m) * 100)


def _angle(f: Findings, known: set[str]) -> Causes:
    if f.angle is None or known & {"loose contact", "mains hum"}:
        return
    errors = {a: (e, u) for a, e, u in f.angle.error_stops}
    off = {a: e for a, (e, u) in errors.items() if abs(e) - 2 * u > angle_limit(a)}
    side = errors.get(90.0, (0.0, 0.0))[0]
    if f.angle.receptor == "dome" and side < -0.8:
        yield "flat in place of dome", told("side_dark", stops=side)
    if f.rim_stops > RIM_LIMIT:
        yield "leaky dome", told("from_behind", stops=f.rim_stops)
    if off:
        worst = max(off, key=lambda a: abs(off[a]))
        yield "wrong angle response", told("off_at", stops=off[worst], degrees=worst)


def _slow(f: Findings, _known: set[str]) -> Causes:
    if f.shortest_s is not None and f.shortest_s > LIMITS["short"]:
        yield "slow amplifier", told("flash_lasts_us", us=f.shortest_s * 1e6)


_RULES: tuple[Callable[[Findings, set[str]], Causes], ...] = (
    _ranges, _hum, _contact, _dark, _leak, _drift, _linearity, _plane, _angle, _slow,
)  # fmt: skip
