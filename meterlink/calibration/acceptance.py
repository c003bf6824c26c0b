"""The walk of ``meterlink verify``: a ten-minute acceptance of a newly built sensor.

It needs no reference: every step compares the sensor with a law (the dark is dark, two lights add, inverse square, the
ideal angular response) or with itself (repeats, both ranges, dark before and after).
"""

from __future__ import annotations

from collections.abc import Sequence

from meterlink.calibration import cautions
from meterlink.calibration.evidence import bare
from meterlink.calibration.procedure import Procedure, Task
from meterlink.calibration.steps import overlap_tasks, repeat_task
from meterlink.records import Calibration, Identity

DISTANCES_M = (0.5, 0.7, 1.0, 1.4, 2.0, 2.8)
ANGLES_DEG = {
    "dome": (0.0, 30.0, 60.0, 90.0, 120.0, -60.0, -90.0),
    "flat": (0.0, 30.0, 45.0, 60.0, 75.0, -45.0, -60.0),
}
HIGH, LOW = "hi", "lo"


def acceptance_tasks(identity: Identity, receptor: str) -> list[Task]:
    """Return the steps in an order that moves things as little as possible."""
    kind = "flash" if identity.flash else "steady"
    tasks = [_dark(identity, i, "dark", 3) for i in range(len(identity.ranges))]
    last = len(identity.ranges) - 1
    capped = "Cap still on: switch the room and a modelling lamp on, close by."
    torch = "Cap off: a battery torch, nothing on the mains, at about half of the range."
    tasks.append(Task("leak", "light leaks", capped, "steady", 2, last, dark=True))
    tasks.append(Task("torch", "steadiness", torch, "steady", 3, last))
    tasks.append(repeat_task(identity))
    if identity.flash:
        text = "A small flash at its lowest power: its pulse is far shorter than a thousandth of a second."
        tasks.append(Task("short", "shortest pulse", text, "flash", 2, optional=True, caution=cautions.FLASH))
    tasks += overlap_tasks(identity, 2)
    tasks += _distances(kind)
    tasks += _additivity(identity, kind)
    for angle in ANGLES_DEG[receptor]:
        text = f"Turn the sensor so that the lamp stands {angle:+g} degrees off its axis; the dome stays in place."
        # A receptor that sees next to nothing from there is what the step is to find out.
        aside = abs(angle) >= 90
        tasks.append(Task(f"angle-{angle:g}", f"{angle:+g} degrees", text, kind, 1, value=angle, optional=aside, dark=aside))
    tasks += [_dark(identity, i, "after", 2) for i in range(len(identity.ranges))]
    return [t if t.caution or t.kind != "flash" else t._replace(caution=cautions.FLASH) for t in tasks]


def _dark(identity: Identity, index: int, name: str, wanted: int) -> Task:
    text = "Put the opaque cap over the dome and darken the room."
    again = " again" if name == "after" else ""
    return Task(f"{name}-{index}", f"dark{again}, range {identity.ranges[index]}", text, "steady", wanted, index, dark=True)


def _distances(kind: str) -> list[Task]:
    text = (
        "A bare bulb with no reflector, in the middle of the room, walls and floor dark; dome plane to bulb {d:g} m by "
        "tape, dome aimed at it, the lamp never touched. Type the distance if it is another."
    )
    return [
        Task(
            f"distance-{d:g}", f"bare bulb at {d:g} m", text.format(d=d), kind, 2, value=d, settable=True,
            caution=cautions.BARE_BULB,
        )
        for d in DISTANCES_M
    ]


def _additivity(identity: Identity, kind: str) -> list[Task]:
    """Two lights together, then each alone, near the top of each range and near its bottom."""
    tasks = []
    for i, name in enumerate(identity.ranges):
        for level, words, fill in ((HIGH, "that fill about 85 %", (0.75, 0.95)), (LOW, "that fill about 40 %", (0.3, 0.5))):
            for who, what in (("ab", "both lights together"), ("a", "first light alone"), ("b", "second light alone")):
                text = f"Two lights, not of one generator, {words} of range {name} together; neither moves: {what}."
                title, wanted = f"{what}, range {name}, {level}", fill if who == "ab" else None
                tasks.append(Task(f"add-{i}-{level}-{who}", title, text, kind, 2, i, fill=wanted))
    return tasks


class AcceptanceWalk(Procedure):
    """``meterlink verify``.  Evaluate with ``judge.judge(walk)`` when done."""

    def __init__(
        self, identity: Identity, calibration: Calibration, *, nominal_lx: Sequence[float] = (), receptor: str = ""
    ) -> None:
        """Start a walk.

        Args:
            identity: the sensor.
            calibration: the one in force, nominal or made by ``meterlink calibrate``.
            nominal_lx: full scale of every range by design; tells a wrong resistor even after calibration.
            receptor: what is mounted, when it is not the calibration's.
        """
        tasks = acceptance_tasks(identity, receptor or calibration.receptor)
        super().__init__(identity, bare(calibration), tasks, expected=calibration)
        self.receptor = receptor or calibration.receptor
        self.nominal_lx = tuple(nominal_lx)
        self.supply: tuple[float, float] | None = None
        """Where the converter measures against the supply: how far, in stops, its reference is from that of the calibration
        (or of the design),
        for which every reading is corrected; and the standard uncertainty of that correction."""
        self.judged = calibration
        """The calibration under test; the walk measures with ``calibration``, the same with a dark of 0."""
