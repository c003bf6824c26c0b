"""The steps that walks are made of: the dark, repeats, one light on two ranges, pairs with a reference."""

from __future__ import annotations

from collections.abc import Sequence

from meterlink.calibration import cautions
from meterlink.calibration.procedure import Task
from meterlink.records import Identity

LEVELS, BRIGHTEST = 5, 0.75
"""Different levels of pairs on one range, the first as part of the range; further pairs lie between them."""
STEPS_STOPS = {"flash": 2 / 3, "steady": 4 / 3}
"""Steps from one level to the next.  Whole stops would land on the same part of a display's tenths each time, and its
rounding would never average out.  8 bits are too coarse to carry pops below a tenth of the range."""
COARSE_STEPS_STOPS = {"flash": 0.8, "steady": 1.2}
"""The same for a display in halves or thirds."""
FINE_DISPLAY_STOPS = 0.25
FAINT = 0.1
"""Part of the range of the faint repeats: how far one pop can be trusted near the bottom."""


def dark_tasks(identity: Identity, count: int = 3) -> list[Task]:
    """Cap on, every range."""
    return [
        Task(
            f"dark-{i}",
            f"dark, range {name}",
            "Put the opaque cap over the dome and wait for the figure to settle.",
            "steady",
            count,
            i,
            dark=True,
        )
        for i, name in enumerate(identity.ranges)
    ]


def overlap_tasks(identity: Identity, count: int = 3, small: int = 6) -> list[Task]:
    """The same light on each range and its neighbour; the sensitive one first, since it says how bright it may be.

    On the less sensitive one the light is small and its noise large, so more are taken there: ``small``.
    """
    kind = "flash" if identity.flash else "steady"
    what = "pop" if kind == "flash" else "lamp"
    tasks: list[Task] = []
    for i in range(len(identity.ranges) - 1):
        text = f"One {what}, not touched between the two ranges, that nearly fills range {identity.ranges[i + 1]}."
        tasks += [
            Task(f"overlap-{i}-{i + 1}", f"overlap on range {identity.ranges[i + 1]}", text, kind, count, i + 1,
                 fill=(0.6, 0.95)),
            Task(f"overlap-{i}-{i}", f"overlap on range {identity.ranges[i]}", text, kind, small, i),
        ]  # fmt: skip
    return tasks


def pair_tasks(identity: Identity, levels: Sequence[int] = range(LEVELS), resolution_stops: float = 0.1) -> list[Task]:
    """Pairs with a reference on every range, steady and flash, from bright to dim."""
    kinds = ("steady", "flash") if identity.flash else ("steady",)
    ranges = range(len(identity.ranges))
    return [_pair_task(identity, kind, i, n, resolution_stops) for kind in kinds for i in ranges for n in levels]


def _pair_task(identity: Identity, kind: str, index: int, number: int, resolution_stops: float) -> Task:
    step = (STEPS_STOPS if resolution_stops < FINE_DISPLAY_STOPS else COARSE_STEPS_STOPS)[kind]
    between, at = divmod(number, LEVELS)
    level = BRIGHTEST * 2.0 ** -(step * (at + between / 2))
    down = "" if number == 0 else f", {step:.1f} stop below the one before" if at else ", between the brightest two"
    text = (
        "Reference and dome at the very same place, one after the other, aimed at the light: about "
        f"{level:.0%} of the range{down} (power rather than distance; no need to hit it)."
    )
    title = f"{kind} pair {number + 1}, range {identity.ranges[index]}"
    fill = (0.6, 0.95) if number == 0 else None
    return Task(f"pair-{kind}-{index}-{number}", title, text, kind, 1, index, "reference", fill=fill, level=level)


def repeat_task(identity: Identity, count: int = 8) -> Task:
    """The same pop again and again."""
    kind = "flash" if identity.flash else "steady"
    what = "pop" if kind == "flash" else "light"
    text = f"A {what} that fills about half of a range. Nothing moves: the same {what} again and again."
    return Task("repeat", "repeats", text, kind, count)


def faint_tasks(identity: Identity, count: int = 8) -> list[Task]:
    """The same again with a pop near the bottom of the sensitive range: what noise does there."""
    if not identity.flash:
        return []
    last = len(identity.ranges) - 1
    text = f"One pop that fills about {FAINT:.0%} of range {identity.ranges[last]}; then nothing moves."
    return [Task("faint", "faint repeats", text, "flash", count, last, fill=(0.07, 0.16), level=FAINT)]


def with_caution(task: Task) -> Task:
    """Give the steps that flash their caution."""
    return task._replace(caution=cautions.FLASH if task.kind == "flash" else "")
