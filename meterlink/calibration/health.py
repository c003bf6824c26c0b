"""``meterlink sensor-test``: two minutes with a sensor that was just plugged in, and the likely fault by name.

A cap, a phone's torch and any flash: the dark of each range, one light on each range, two pops.  What is seen is compared with what
a sound build shows, coarsely: how good a sound sensor is, ``verify`` finds out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import chain
from statistics import fmean
from typing import NamedTuple

from meterlink.calibration.evidence import MAX_DARK_LX, full_raw_of, raw_of, zero_of
from meterlink.calibration.faults import Causes, Fault, first_of
from meterlink.calibration.procedure import FLASH, Procedure, Task, wrong_kind
from meterlink.records import Calibration, Identity, Measurement, Status, Trouble
from meterlink.sensor.measuring.calibrate import default_calibration
from meterlink.words.told import NOTHING, Told, told

DARK_OFF, SWING, SEEN, ENOUGH = 0.015, 0.02, 0.002, 0.02
"""Parts of a range: a dark that is off, a wavering that is hum, the least that a torch close by must raise, and what tells
of a ratio."""
RATIO_STOPS = 0.6
"""Between the ranges' ratio and the design's: two resistors of 5 % and one code of ten make 0.3."""
LONGEST_T05_S = 4e-3
"""Studio heads at full power stay below (common practice, no published source)."""
APART_STOPS = 0.5
DAMAGED = 0.02
TORCH_LX = 200.0
"""A tenth of what a phone's torch gives close by: what a sensor that reports lux is asked for."""
SUPPLY_V = 3.3
"""Of every board whose converter has a reference of its own; one of 5 V is not judged."""
PATIENCE_S = 30.0


class Check(NamedTuple):
    """One line of the test."""

    what: str
    seen: Told
    outcome: str
    """``good``, ``fault``, ``left out``, or ``unclear``: something came, and it tells nothing."""


class LinkCounts(NamedTuple):
    """What came over the link during the test."""

    frames: int = 0
    damaged: int = 0
    supply_stops: float | None = None
    battery: float | None = None
    status: Status | None = None
    """What the sensor said of itself at the end."""


class SensorTest(Procedure):
    """The steps; everything that comes is taken, since what is wrong with it is the point."""

    def __init__(self, identity: Identity, calibration: Calibration | None = None) -> None:
        """Start a test; ``calibration`` is the one in force."""
        calibration = calibration or default_calibration(identity)
        super().__init__(identity, calibration, steps_of(identity), with_dark=True)

    def _why_not(self, task: Task, measurement: Measurement) -> Told:
        return wrong_kind(task) if measurement.kind != task.kind else NOTHING

    def raw(self, name: str) -> float | None:
        """Mean of a steady step as a part of its range, dark included; None when it was not taken."""
        seen = [raw_of(t.measurement, self.calibration) for t in self.of(name) if t.measurement.illuminance_lx is not None]
        return fmean(seen) / full_raw_of(self.identity) if seen else None


def steps_of(identity: Identity) -> list[Task]:
    """Return the steps, those with the cap first; the most sensitive range is the last, so that a weak pop is seen too."""
    numbered = list(enumerate(identity.ranges))
    cap, torch, pops = told("do_cap"), told("do_torch"), told("do_two_pops")
    tasks = [Task(f"dark-{i}", told("dark_step", name=name), cap, "steady", 1, i, dark=True) for i, name in numbered]
    tasks += [
        Task(f"torch-{i}", told("torch_step", name=name), torch, "steady", 1, i, optional=True, dark=True) for i, name in numbered
    ]
    if identity.flash:
        tasks.append(Task("pop", told("two_pops"), pops, "flash", 2, optional=True, caution=FLASH, patience_s=PATIENCE_S))
    return tasks


def checks_of(walk: SensorTest, link: LinkCounts) -> list[Check]:
    """Return what was seen, one line a question."""
    faulty = {f.name for f in faults_of(walk, link)}
    if not walk.identity.adc_bits and first_of(_leak(walk)):
        # Light under the cap of a chip is wrong whatever else is more so.
        faulty.add("light leak")

    def check(what: str, seen: Told, *faults: str) -> Check:
        return Check(what, seen or told("none"), "fault" if faulty & set(faults) else "good" if seen else "left out")

    count = range(len(walk.identity.ranges))
    arrived = told("messages_damaged", damaged=link.damaged, total=link.frames + link.damaged)
    rows = [
        check("link", arrived, "bytes arrive damaged"),
        check("dark", _levels(walk, [walk.raw(f"dark-{i}") for i in count], zero_of(walk.identity)),
              "zero not lifted", "dark offset", "light leak", "amplifier at its end", "mains hum"),
        check("torch", _levels(walk, [walk.raw(f"torch-{i}") for i in count]), "diode reversed", "diode not connected",
              "chip sees no light", "range does not switch", "swapped resistors", "wrong resistor"),
    ]  # fmt: skip
    if walk.identity.flash:
        names = ("no pop is seen", "pops do not arrive whole", "slow amplifier", "loose contact")
        pops = check("pops", told("none_seen") if "pop" in walk.missed else _pops(walk), *names)
        # A pop without a figure is no proof of anything, whatever else is wrong.
        blind = any(t.measurement.exposure_lxs is None for t in walk.of("pop"))
        rows.append(pops._replace(outcome="unclear") if pops.outcome == "good" and blind else pops)
    return rows + [check(what, seen, fault) for what, seen, fault, _ in _own(link)]


def _own(link: LinkCounts) -> Iterator[tuple[str, Told, str, bool]]:
    """What the sensor says of itself: the line's name, what is seen, the fault that it may show, and whether it does."""
    status = link.status
    if link.supply_stops is not None:
        yield "supply", told("supply_off", stops=link.supply_stops), "supply", abs(link.supply_stops) > 0.3
    if status is not None and status.supply_v is not None:
        off = abs(status.supply_v / SUPPLY_V - 1)
        yield "reference", told("reference_volt", volt=status.supply_v), "reference does not hold", 0.05 < off < 0.25
    if status is not None and status.temperature_c is not None:
        yield "temperature", told("chip_warmth", degrees=status.temperature_c), "", False
    if status is not None and status.overruns:
        yield "pace", told("times_held_up", count=status.overruns), "board too slow", True
    if link.battery is not None:
        yield "battery", told("charge", part=link.battery), "battery low", link.battery < 0.15


def faults_of(walk: SensorTest, link: LinkCounts) -> tuple[Fault, ...]:
    """Return the likely faults, the one to look at first at the beginning; of each part of the sensor at most one."""
    # What is wrong with the steady light spoils the pops too.
    rules = (_ends, _zero, _diode, _hum, _leak, _ranges, _pops_fault)
    of_light = chain.from_iterable(rule(walk) for rule in rules)
    of_itself = ((fault, seen) for _, seen, fault, shows in _own(link) if shows)
    return tuple(fault for causes in (_link(link), of_light, of_itself) for fault in first_of(causes))


def _link(link: LinkCounts) -> Causes:
    total = link.frames + link.damaged
    if total and link.damaged > 2 and link.damaged / total > DAMAGED:
        yield "bytes arrive damaged", told("messages_damaged", damaged=link.damaged, total=total)


def _ends(walk: SensorTest) -> Causes:
    darks = _darks(walk)
    if darks and min(darks) > 0.9:
        yield "amplifier at its end", told("dark_part", part=min(darks))


def _zero(walk: SensorTest) -> Causes:
    darks, pedestal = _darks(walk), zero_of(walk.identity)
    if darks and max(darks) < pedestal - DARK_OFF:
        yield "zero not lifted", told("zero_off", dark=max(darks), zero=pedestal)


def _diode(walk: SensorTest) -> Causes:
    last = len(walk.identity.ranges) - 1
    dark, torch = walk.raw(f"dark-{last}"), walk.raw(f"torch-{last}")
    if dark is None or torch is None or torch > 0.9:
        return
    rise = torch - dark
    seen = told("dark_and_torch", dark=_level(walk, dark), torch=_level(walk, torch))
    if not walk.identity.adc_bits:
        if rise * full_raw_of(walk.identity) < TORCH_LX:
            yield "chip sees no light", seen
    elif rise < -SEEN:
        yield "diode reversed", told("torch_lowers", dark=dark, torch=torch)
    elif rise < SEEN:
        yield "diode not connected", seen


def _leak(walk: SensorTest) -> Causes:
    darks, pedestal = _darks(walk), zero_of(walk.identity)
    if darks and not walk.identity.adc_bits:
        # It has no zero of its own to be off: what it sees in the dark is light.
        lux = max(darks) * full_raw_of(walk.identity)
        if lux > MAX_DARK_LX:
            yield "light leak", told("lux_in_dark", lux=lux)
    elif darks and darks[-1] > pedestal + DARK_OFF:
        # Light, or a diode that leaks, counts on the sensitive range most; a divider that is off counts on all alike.
        name = "light leak" if darks[0] - pedestal < (darks[-1] - pedestal) / 2 else "dark offset"
        yield name, told("zero_off", dark=darks[-1], zero=pedestal)


def _hum(walk: SensorTest) -> Causes:
    swings = [
        t.measurement.modulation * raw_of(t.measurement, walk.calibration) / full_raw_of(walk.identity)
        for t in walk.group("dark")
        if t.measurement.modulation is not None
    ]
    if swings and max(swings) > SWING:
        yield "mains hum", told("dark_wavers", part=max(swings))


def _ranges(walk: SensorTest) -> Causes:
    """The same torch on a range and the next more sensitive one: by design its part of the range grows by a known factor."""
    by_design = [r.full_scale_lx for r in default_calibration(walk.identity).ranges]
    for i, name in enumerate(walk.identity.ranges[1:]):
        coarse, fine = _rise(walk, i), _rise(walk, i + 1)
        if coarse is None or fine is None or max(coarse, fine) < ENOUGH or fine > 0.9:
            continue
        factor, found = by_design[i] / by_design[i + 1], fine / max(coarse, 1e-4)
        seen = told("torch_ratio", found=found, name=name, factor=factor)
        if found < math.sqrt(1 / factor):
            yield "swapped resistors", seen
        if found < math.sqrt(factor) / 1.5:
            yield "range does not switch", seen
        if abs(math.log2(found / factor)) > RATIO_STOPS:
            yield "wrong resistor", seen


def _pops_fault(walk: SensorTest) -> Causes:
    if "pop" in walk.missed:
        yield "no pop is seen", told("nothing_in", seconds=PATIENCE_S)
    pops = [t.measurement for t in walk.of("pop")]
    if pops and all(m.trouble in (Trouble.LOST_DATA, Trouble.CUT_SHORT) for m in pops):
        yield "pops do not arrive whole", told("note", note=pops[-1].note)
    whole = [m for m in pops if not (m.incomplete or m.clipped) and m.exposure_lxs]
    lengths = [m.t05_s for m in whole if m.t05_s]
    if lengths and min(lengths) > LONGEST_T05_S:
        yield "slow amplifier", told("flash_lasts", ms=min(lengths) * 1e3)
    if len(whole) > 1:
        apart = abs(math.log2((whole[0].exposure_lxs or 1.0) / (whole[-1].exposure_lxs or 1.0)))
        if apart > APART_STOPS:
            yield "loose contact", told("twice_apart", apart=apart)


def _darks(walk: SensorTest) -> list[float]:
    return [d for i in range(len(walk.identity.ranges)) if (d := walk.raw(f"dark-{i}")) is not None]


def _rise(walk: SensorTest, index: int) -> float | None:
    dark, torch = walk.raw(f"dark-{index}"), walk.raw(f"torch-{index}")
    return None if dark is None or torch is None else torch - dark


def _level(walk: SensorTest, raw: float | None) -> Told:
    """A steady level as this sensor's kind has it: a part of its range, or the lux that it reports."""
    if raw is None:
        return told("none")
    return told("part", part=raw) if walk.identity.adc_bits else told("lx", value=raw * full_raw_of(walk.identity))


def _levels(walk: SensorTest, raws: Sequence[float | None], zero: float = 0.0) -> Told:
    if all(raw is None for raw in raws):
        return NOTHING
    levels = [_level(walk, raw) for raw in raws]
    if not walk.identity.adc_bits:
        return told("listed", parts=levels)
    return told("levels_zero", levels=levels, zero=zero) if zero else told("levels", levels=levels)


def _pops(walk: SensorTest) -> Told:
    pops = [t.measurement for t in walk.of("pop")]
    figures = [told("pop_seen", exposure=m.exposure_lxs) if m.exposure_lxs else told("no_figure") for m in pops]
    return told("listed", parts=figures) if figures else NOTHING
