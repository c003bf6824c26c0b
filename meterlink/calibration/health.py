"""``meterlink sensor-test``: two minutes with a sensor that was just plugged in, and the likely fault by name.

A cap, a phone's torch and any flash: the dark of each range, one light on each range, two pops.  What is seen is compared with what
a sound build shows, coarsely: how good a sound sensor is, ``verify`` finds out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

from meterlink.calibration import cautions
from meterlink.calibration.evidence import bare, full_raw_of, raw_of
from meterlink.calibration.faults import NAMES, Fault
from meterlink.calibration.procedure import Procedure, Task
from meterlink.records import Calibration, Identity, Kind, Measurement, Trouble
from meterlink.sensor.measuring.calibrate import PEDESTAL_RAW, default_calibration

DARK_OFF, SWING, SEEN, ENOUGH = 0.015, 0.02, 0.002, 0.02
"""Parts of a range: a dark that is off, a wavering that is hum, the least that a torch close by must raise, and what tells
of a ratio."""
RATIO_STOPS = 0.6
"""Between the ranges' ratio and the design's: two resistors of 5 % and one code of ten make 0.3."""
LONGEST_T05_S = 4e-3
"""Studio heads at full power stay below (common practice, no published source)."""
APART_STOPS = 0.5
DAMAGED = 0.02
PATIENCE_S = 30.0

REMEDIES = NAMES | {
    "bytes arrive damaged": "another cable, no hub, the cable away from the flash's; over Bluetooth come nearer",
    "amplifier at its end": (
        "its output stands at the supply: the diode is shorted or not between the two inputs, the feedback resistor is open, or "
        "the plus input is not at its divider: measure there"
    ),
    "diode reversed": "light lowers the output: turn the diode round",
    "diode not connected": (
        "light changes nothing: check both of the diode's joints, then the feedback resistor; is the dome opaque?"
    ),
    "range does not switch": "both ranges show the same: check the gain wires and the switch between board and resistors",
    "no pop is seen": "hold the dome at a head's glass once; if it still sees none, the program on the board is old or not ours",
    "pops do not arrive whole": "the board restarts or its cable fails when the head fires: a battery, a shorter cable",
    "supply": "the board's supply is far from that of its calibration: another port or cable, no hub",
    "battery low": "charge or change it before anything else",
}


class Check(NamedTuple):
    """One line of the test."""

    what: str
    seen: str
    outcome: str
    """``good``, ``fault`` or ``left out``."""


class LinkCounts(NamedTuple):
    """What came over the link during the test."""

    frames: int = 0
    damaged: int = 0
    supply_stops: float | None = None
    battery: float | None = None


class SensorTest(Procedure):
    """The steps; everything that comes is taken, since what is wrong with it is the point."""

    def __init__(self, identity: Identity, calibration: Calibration | None = None) -> None:
        """Start a test; ``calibration`` is the one in force."""
        calibration = calibration or default_calibration(identity)
        super().__init__(identity, bare(calibration), steps_of(identity), expected=calibration)

    def _why_not(self, task: Task, measurement: Measurement) -> str:
        if measurement.kind != task.kind:
            return f"{task.title} wants {'a pop' if task.kind == Kind.FLASH else 'steady light'}: not counted"
        return ""

    def raw(self, name: str) -> float | None:
        """Mean of a steady step as a part of its range, dark included; None when it was not taken."""
        seen = [raw_of(t.measurement, self.calibration) for t in self.of(name) if t.measurement.illuminance_lx is not None]
        return math.fsum(seen) / len(seen) / full_raw_of(self.identity) if seen else None


def steps_of(identity: Identity) -> list[Task]:
    """Return the steps, those with the cap first; the most sensitive range is the last, so that a weak pop is seen too."""
    numbered = list(enumerate(identity.ranges))
    torch = "Cap off. A phone's torch, lit, a hand's breadth from the dome; hold it still."
    tasks = [
        Task(f"dark-{i}", f"dark, range {name}", "An opaque cap on the dome, or a fist around it.", "steady", 1, i, dark=True)
        for i, name in numbered
    ]
    tasks += [
        Task(f"torch-{i}", f"a torch, range {name}", torch, "steady", 1, i, optional=True, dark=True)
        for i, name in numbered
    ]
    if identity.flash:
        text = "Any flash at low power, a metre off; the same twice."
        tasks.append(
            Task("pop", "two pops", text, "flash", 2, optional=True, caution=cautions.FLASH, patience_s=PATIENCE_S)
        )  # fmt: skip
    return tasks


def checks_of(walk: SensorTest, link: LinkCounts) -> list[Check]:
    """Return what was seen, one line a question."""
    faulty = {f.name for f in faults_of(walk, link)}

    def check(what: str, seen: str | None, *faults: str) -> Check:
        return Check(what, seen or "–", "fault" if faulty & set(faults) else "good" if seen else "left out")

    darks = [_percent(walk.raw(f"dark-{i}")) for i in range(len(walk.identity.ranges))]
    torches = [_percent(walk.raw(f"torch-{i}")) for i in range(len(walk.identity.ranges))]
    zero = "" if _pedestal(walk) == 0 else f" (about {_pedestal(walk):.0%} belongs there)"
    share = f"{link.damaged} of {link.frames + link.damaged} messages damaged"
    rows = [
        check("link", share, "bytes arrive damaged"),
        check("dark", _all(darks, zero), "zero not lifted", "dark offset", "light leak", "amplifier at its end", "mains hum"),
        check("torch", _all(torches), "diode reversed", "diode not connected", "range does not switch", "swapped resistors",
              "wrong resistor"),
    ]  # fmt: skip
    if walk.identity.flash:
        names = ("no pop is seen", "pops do not arrive whole", "slow amplifier", "loose contact")
        rows.append(check("pops", "none seen" if "pop" in walk.missed else _pops(walk), *names))
    if link.supply_stops is not None:
        rows.append(check("supply", f"{link.supply_stops:+.2f} stop from the calibration's", "supply"))
    if link.battery is not None:
        rows.append(check("battery", f"{link.battery:.0%}", "battery low"))
    return rows


def faults_of(walk: SensorTest, link: LinkCounts) -> tuple[Fault, ...]:
    """Return the likely faults, the one to look at first at the beginning; of each part of the sensor at most one."""
    # What is wrong with the steady light spoils the pops too.
    groups = ((_link,), (_ends, _zero, _diode, _hum, _leak, _ranges, _pops_fault), (_power,))
    found = []
    for group in groups:
        named = next((named for rule in group if (named := rule(walk, link))), None)
        if named:
            found.append(Fault(named[0], named[1], REMEDIES[named[0]]))
    return tuple(found)


_Named = tuple[str, str] | None
_Rule = Callable[[SensorTest, LinkCounts], _Named]


def _link(_walk: SensorTest, link: LinkCounts) -> _Named:
    total = link.frames + link.damaged
    if total and link.damaged > 2 and link.damaged / total > DAMAGED:
        return "bytes arrive damaged", f"{link.damaged} of {total} messages"
    return None


def _ends(walk: SensorTest, _link: LinkCounts) -> _Named:
    darks = _darks(walk)
    if darks and min(darks) > 0.9:
        return "amplifier at its end", f"{min(darks):.0%} of the range in the dark"
    return None


def _zero(walk: SensorTest, _link: LinkCounts) -> _Named:
    darks, pedestal = _darks(walk), _pedestal(walk)
    if darks and max(darks) < pedestal - DARK_OFF:
        return "zero not lifted", f"{max(darks):.1%} in the dark, {pedestal:.0%} is where the zero belongs"
    return None


def _diode(walk: SensorTest, _link: LinkCounts) -> _Named:
    last = len(walk.identity.ranges) - 1
    dark, torch = walk.raw(f"dark-{last}"), walk.raw(f"torch-{last}")
    if dark is None or torch is None or torch > 0.9:
        return None
    rise = torch - dark
    # A sensor that reports lux is asked for a tenth of what a torch gives.
    least = SEEN if _pedestal(walk) else 200.0 / full_raw_of(walk.identity)
    if rise < -least:
        return "diode reversed", f"a torch takes it from {dark:.1%} down to {torch:.1%}"
    return ("diode not connected", f"{dark:.1%} in the dark and {torch:.1%} under a torch") if rise < least else None


def _leak(walk: SensorTest, _link: LinkCounts) -> _Named:
    darks, pedestal = _darks(walk), _pedestal(walk)
    if not darks or not pedestal or darks[-1] <= pedestal + DARK_OFF:
        return None
    seen = f"{darks[-1]:.1%} in the dark, {pedestal:.0%} is where the zero belongs"
    # Light, or a diode that leaks, counts on the sensitive range most; a divider that is off counts on all alike.
    return ("light leak" if darks[0] - pedestal < (darks[-1] - pedestal) / 2 else "dark offset"), seen


def _hum(walk: SensorTest, _link: LinkCounts) -> _Named:
    swings = [
        t.measurement.modulation * raw_of(t.measurement, walk.calibration) / full_raw_of(walk.identity)
        for t in walk.group("dark")
        if t.measurement.modulation is not None
    ]
    if swings and max(swings) > SWING:
        return "mains hum", f"the dark wavers by ±{max(swings):.1%} of the range"
    return None


def _ranges(walk: SensorTest, _link: LinkCounts) -> _Named:
    """The same torch on a range and the next more sensitive one: by design its part of the range grows by a known factor."""
    by_design = [r.full_scale_lx for r in default_calibration(walk.identity).ranges]
    for i in range(len(walk.identity.ranges) - 1):
        rises = [_rise(walk, i), _rise(walk, i + 1)]
        if None in rises:
            continue
        coarse, fine = rises
        assert coarse is not None
        assert fine is not None
        factor = by_design[i] / by_design[i + 1]
        if max(coarse, fine) < ENOUGH or fine > 0.9:
            continue
        found = fine / max(coarse, 1e-4)
        seen = f"one torch is {found:.2g} times as much on range {walk.identity.ranges[i + 1]}, by design {factor:.3g} times"
        if found < math.sqrt(1 / factor):
            return "swapped resistors", seen
        if found < math.sqrt(factor) / 1.5:
            return "range does not switch", seen
        if abs(math.log2(found / factor)) > RATIO_STOPS:
            return "wrong resistor", seen
    return None


def _pops_fault(walk: SensorTest, _link: LinkCounts) -> _Named:
    if "pop" in walk.missed:
        return "no pop is seen", f"nothing in {PATIENCE_S:.0f} s"
    pops = [t.measurement for t in walk.of("pop")]
    if pops and all(m.trouble in (Trouble.LOST_DATA, Trouble.CUT_SHORT) for m in pops):
        return "pops do not arrive whole", pops[-1].note
    whole = [m for m in pops if not (m.incomplete or m.clipped) and m.exposure_lxs]
    lengths = [m.t05_s for m in whole if m.t05_s]
    if lengths and min(lengths) > LONGEST_T05_S:
        return "slow amplifier", f"a flash seems to last {min(lengths) * 1e3:.0f} ms (t0.5)"
    if len(whole) > 1:
        apart = abs(math.log2((whole[0].exposure_lxs or 1.0) / (whole[-1].exposure_lxs or 1.0)))
        if apart > APART_STOPS:
            return "loose contact", f"the same flash twice, {apart:.1f} stop apart (had it recharged?)"
    return None


def _power(_walk: SensorTest, link: LinkCounts) -> _Named:
    if link.supply_stops is not None and abs(link.supply_stops) > 0.3:
        return "supply", f"{link.supply_stops:+.2f} stop from the calibration's"
    if link.battery is not None and link.battery < 0.15:
        return "battery low", f"{link.battery:.0%}"
    return None


def _darks(walk: SensorTest) -> list[float]:
    return [d for i in range(len(walk.identity.ranges)) if (d := walk.raw(f"dark-{i}")) is not None]


def _rise(walk: SensorTest, index: int) -> float | None:
    dark, torch = walk.raw(f"dark-{index}"), walk.raw(f"torch-{index}")
    return None if dark is None or torch is None else torch - dark


def _pedestal(walk: SensorTest) -> float:
    return PEDESTAL_RAW if walk.identity.adc_bits else 0.0


def _percent(raw: float | None) -> str:
    return "–" if raw is None else f"{raw:.1%}"


def _all(parts: Sequence[str], more: str = "") -> str | None:
    return None if set(parts) <= {"–"} else f"{' and '.join(parts)} of the range{more}"


def _pops(walk: SensorTest) -> str | None:
    pops = [t.measurement for t in walk.of("pop")]
    told = [f"{m.exposure_lxs:.3g} lx·s" if m.exposure_lxs else "not whole" for m in pops]
    return ", ".join(told) or None
