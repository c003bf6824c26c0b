"""The steps that walks are made of: the dark, repeats, one light on two ranges, pairs with a reference."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from meterlink.calibration.evidence import MAX_DARK_LX, MAX_DARK_RAW
from meterlink.calibration.procedure import FLASH, HOT_LAMP, TYPED, Task
from meterlink.records import Identity
from meterlink.words.told import NOTHING, Told, told

LEVELS, BRIGHTEST = 4, 0.75
"""Different levels of pops on the way down a range, the first as part of the range at best; further ones lie between them."""
STEP_STOPS, COARSE_STEP_STOPS = 0.725, 0.8
"""Steps from one level to the next, for a display in tenths and for one in halves or thirds.  Whole stops would land on the same
part of a display's steps each time, and its rounding would never average out; four steps of 0.725 lie a quarter of a tenth
apart."""
BETWEEN = (0.0, 0.5, 0.25, 0.75)
"""Where the levels of the first, second, third and fourth run of one range lie, as part of a step below those of the first."""
FINE_DISPLAY_STOPS = 0.25
SMALLEST_LEVEL = 0.1
"""8 bits are too coarse to carry pops below a tenth of the range."""
STEADY_LEVELS, STEADY_STEP_STOPS = 2, 4 / 3
CAMERA = {
    "do_first_level": "do_first_level_camera", "do_reference": "do_camera", "hands_reference": "hands_camera",
    "do_first_lamp": "do_first_lamp_camera", "do_only_lamp": "do_only_lamp_camera", "do_lamp": "do_lamp_camera",
    "hands_dome": "hands_dome_camera",
}  # fmt: skip
"""Words of a step -> its words where a grey card stands in the dome's place and a camera looks at it."""
FAINT = 0.1
"""Part of the range of the faint repeats: how far one pop can be trusted near the bottom."""


def dark_tasks(identity: Identity, count: int = 3) -> list[Task]:
    """Cap on, every range; what is no dark is said at once, not at the end of the walk."""
    most = MAX_DARK_RAW if identity.adc_bits else MAX_DARK_LX
    return [
        Task(f"dark-{i}", told("dark_step", name=name), told("do_dark"), "steady", count, i, dark=True, darkest_raw=most)
        for i, name in enumerate(identity.ranges)
    ]


def overlap_tasks(identity: Identity, count: int = 3, small: int = 6) -> list[Task]:
    """The same light on each range and its neighbour; the sensitive one first, since it says how bright it may be.

    On the less sensitive one the light is small and its noise large, so more are taken there: ``small``.
    """
    kind = "flash" if identity.flash else "steady"
    tasks: list[Task] = []
    for i, (coarse, fine) in enumerate(pairwise(identity.ranges)):
        text = told("do_overlap_flash" if identity.flash else "do_overlap_steady", name=fine)
        tasks += [
            Task(f"overlap-{i}-{i + 1}", told("overlap_step", name=fine), text, kind, count, i + 1, fill=(0.6, 0.95)),
            Task(f"overlap-{i}-{i}", told("overlap_step", name=coarse), text, kind, small, i),
        ]
    return tasks


def step_stops(resolution_stops: float) -> float:
    """From one flash level to the next, for a reference that shows so many stops a step."""
    return STEP_STOPS if resolution_stops < FINE_DISPLAY_STOPS else COARSE_STEP_STOPS


def parts_of_run(resolution_stops: float, levels: int) -> list[float]:
    """Levels of pops on a range as parts of the first: one run down it, then runs that lie between."""
    step = step_stops(resolution_stops)
    return [2.0 ** -(step * (at + between)) for between in BETWEEN for at in range(levels)]


def flash_task(identity: Identity, index: int, number: int, top: float | None, parts: Sequence[float]) -> Task:
    """One pop that dome and reference will both see.  ``top`` is the part of the range that the range's first filled."""
    name = identity.ranges[index]
    title = told("level_step", level=number + 1, name=name)
    if number == 0:
        text = told("do_first_level", part=BRIGHTEST, name=name)
        leaving = f"pair-flash-{index}-" if index < len(identity.ranges) - 1 else ""
        return Task(f"pair-flash-{index}-0", title, text, "flash", 1, index, level=BRIGHTEST, optional=bool(leaving), group=leaving)
    level = None if top is None else top * parts[number]
    stops = math.log2(parts[number - 1] / parts[number])
    down = told("below_before", stops=stops) if stops > 0 else told("between_brightest")
    if level is not None:
        down = told("down_about", down=down, level=level)
    text = told("do_level", down=down, number=number + 1)
    return Task(f"pair-flash-{index}-{number}", title, text, "flash", 1, index, level=level)


def reference_task(pop: Task, first: bool = True) -> Task:
    """The reference in the dome's place under a light that the dome has seen; a run's ``first`` says that they change places."""
    text = told("hands_reference", then=told("do_reference")) if first else told("do_reference")
    title = told("reference_step", light=pop.title)
    return Task(pop.name.replace("pair", "ref", 1), title, text, TYPED)


def lamp_task(number: int, level_lx: float | None, *, optional: bool) -> Task:
    """The reference under the steady lamp."""
    if number == 0:
        text = told("do_first_lamp" if optional else "do_only_lamp")
    else:
        text = told("do_lamp", stops=STEADY_STEP_STOPS, lux=level_lx or 0.0)
    title = told("lamp_reference_step", number=number + 1)
    return Task(f"ref-steady-{number}", title, text, TYPED, value=level_lx, optional=optional)


def steady_task(identity: Identity, index: int, number: int, level: float, first: bool) -> Task:
    """The dome under the steady lamp that the reference has read; the ``first`` of a run says that they change places."""
    text = told("do_lamp_again", number=number + 1, level=level)
    if first:
        text = told("hands_dome", then=text)
    title = told("lamp_step", number=number + 1, name=identity.ranges[index])
    return Task(f"pair-steady-{index}-{number}", title, text, "steady", 1, index, level=level)


def repeat_task(identity: Identity, count: int = 8) -> Task:
    """The same pop again and again."""
    kind = "flash" if identity.flash else "steady"
    text = told("do_repeat_flash" if identity.flash else "do_repeat_steady")
    return Task("repeat", told("repeat_step"), text, kind, count)


def faint_tasks(identity: Identity, count: int = 8) -> list[Task]:
    """The same again with a pop near the bottom of the sensitive range: what noise does there."""
    if not identity.flash:
        return []
    last = len(identity.ranges) - 1
    text = told("do_faint", part=FAINT, name=identity.ranges[last])
    return [Task("faint", told("faint_step"), text, "flash", count, last, fill=(0.07, 0.16), level=FAINT)]


def for_camera(task: Task) -> Task:
    """The same step where a camera that looks at a grey card is the reference."""
    return task._replace(text=_of_the_card(task.text), camera=task.kind == TYPED)


def _of_the_card(text: Told) -> Told:
    values = {name: _of_the_card(value) if isinstance(value, Told) else value for name, value in text.values.items()}
    return Told(CAMERA.get(text.code, text.code), values)


def with_caution(task: Task) -> Task:
    """Give the steps that flash or burn a lamp their caution, unless they have one of their own."""
    if task.caution:
        return task
    if "steady-" in task.name:
        return task._replace(caution=HOT_LAMP)
    return task._replace(caution=FLASH if task.kind == "flash" else NOTHING)
