"""A simulated sensor behind the ``Link`` interface, for first steps without hardware, the demo and tests.

``sim:`` fires the light that a walk waits for, as it is placed and powered; where nothing is waited for it shows a small
portrait set whose lights fire one after the other.  With ``sim:?every=0`` nothing happens until
``pop``, ``unplug`` and the other verbs are called.  Options: ``every`` (seconds between pops), ``seed``, ``lights``
(names, in the order in which they fire: ``lights=KEY,FILL,KEY``), ``colour=yes`` (it sees colour too), ``ranger=yes`` (it measures
how far off it is held), ``fault`` (a sensor built wrong: ``chip_model.FAULTS``).
"""

from __future__ import annotations

import asyncio
import itertools
import math
import random
import time
from collections.abc import Awaitable, Callable, Sequence

from meterlink.errors import LinkLost, LinkNotFound, UsageError
from meterlink.records import Kind
from meterlink.sensor.link.base import OnBytes, OnLost
from meterlink.sensor.link.registry import LinkUrl
from meterlink.simulation.as_placed import UNDECLARED_M
from meterlink.simulation.chip_model import FAULTS, FULL_SCALE_LX, BadBuild, ChipModel, Light, Shown
from meterlink.simulation.studio import Pulse, Studio, first_steps

EVERY_S = 2.5
RANGER_HZ = 15.0
FIRST_POP_S = 1.5
TORCH_LX = 12e3
LAMP_LX_PER_LXS = 20.0
"""What a lamp gives in place of a head that gives 1 lx·s: a key of about f/3.3 at ISO 100 and 1/125 s (made up)."""
SMALL_FLASH = Pulse(1.0, fall_s=0.4e-3)
FULL_POWER = Pulse(1.0, fall_s=1.3e-3)
CHUNK_BYTES = 256
"""A serial line delivers a block in pieces."""


def from_url(url: LinkUrl) -> SimulatedLink:
    """Return the link of ``sim:?every=2.5&seed=1&lights=KEY,FILL``."""
    url.refuse_options_but("colour", "every", "fault", "lights", "ranger", "seed")
    studio = first_steps()
    names = [n for n in url.options.get("lights", "").split(",") if n]
    strange = [n for n in names if n not in studio.lights]
    if strange:
        raise UsageError(
            "{url}: there is no light {strange!r} in it, use {lights}",
            url=url.text, strange=strange[0], lights=', '.join(studio.lights),
        )
    fault = url.options.get("fault", "")
    if fault and fault not in FAULTS:
        raise UsageError("{url}: no fault {fault!r}, use {faults}", url=url.text, fault=fault, faults=", ".join(FAULTS))
    try:
        every_s, seed = float(url.options.get("every", EVERY_S)), int(url.options.get("seed", "1"))
    except ValueError:
        raise UsageError("{url}: 'every' is a number of seconds and 'seed' a whole number", url=url.text) from None
    if not 0.0 <= every_s <= 3600.0:
        raise UsageError("{url}: 'every' is 0 (by hand) to 3600 seconds", url=url.text)
    colour, ranger = _is_yes(url, "colour"), _is_yes(url, "ranger")
    chip = BadBuild(fault, seed=seed) if fault else ChipModel(seed=seed, colour=colour, range_finder=ranger)
    return SimulatedLink(chip, studio=studio, order=names, every_s=every_s, url=url.text, seed=seed)


def _is_yes(url: LinkUrl, name: str) -> bool:
    answer = url.options.get(name, "no")
    if answer not in ("yes", "no"):
        raise UsageError("{url}: {name!r} is yes or no", url=url.text, name=name)
    return answer == "yes"


class SimulatedLink:
    """A sensor that is always there, until ``unplug``."""

    def __init__(
        self,
        chip: ChipModel | None = None,
        *,
        studio: Studio | None = None,
        order: Sequence[str] = (),
        every_s: float = 0.0,
        url: str = "sim:",
        seed: int = 1,
        clock: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> None:
        self.url = url
        self.chip = chip or ChipModel(seed=seed)
        self.studio = studio or first_steps()
        self.chip.ambient_lx = self.studio.ambient_lx
        self.plugged = True
        self._order = tuple(order) or tuple(self.studio.lights)
        self._ordered = bool(order)
        self._expected: tuple[Pulse, ...] | None = None
        self._lit: dict[str, float] = {}
        """Steps of a walk -> lx·s of their pops."""
        self._lamps_lx = 0.0
        self._held_m, self._reflectance = UNDECLARED_M, 0.5
        self._every_s = every_s
        self._clock = clock
        self._sleep = sleep
        self._random = random.Random(seed)
        self._start_s = clock()
        self._on_bytes: OnBytes | None = None
        self._on_lost: OnLost | None = None
        self._tasks: list[asyncio.Task[None]] = []

    async def open(self, on_bytes: OnBytes, on_lost: OnLost) -> None:
        """Open; the sensor begins to send steady light, and pops when it has an order."""
        await self.close()
        if not self.plugged:
            raise LinkNotFound("the simulated sensor is unplugged: plug it in", self.url)
        self._on_bytes, self._on_lost = on_bytes, on_lost
        loop = asyncio.get_running_loop()
        self._tasks = [loop.create_task(self._send_steady())]
        if self.chip.identity.range_finder:
            self._tasks.append(loop.create_task(self._send_distance()))
        if self._every_s > 0.0:
            self._tasks.append(loop.create_task(self._fire_in_order()))

    async def write(self, data: bytes) -> None:
        """Let the sensor hear ``data``; its answer comes with the loop's next turn."""
        if self._on_bytes is None:
            raise LinkLost("the simulated sensor is not connected: open it first", self.url)
        answer = self.chip.hear(data, self._now_s())
        if answer:
            asyncio.get_running_loop().call_soon(self.say, answer)

    async def close(self) -> None:
        """Close."""
        tasks, self._tasks = self._tasks, []
        self._on_bytes = self._on_lost = None
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    # --------------------------------------------------------------------------------- what can be done to it

    def expect(self, *pulses: Pulse, burning: bool = False) -> None:
        """Fire one of these from now on, again and again, instead of the studio's lights in turn; without any nothing fires.

        A walk says so of the lights that it waits for; which of several fires is left to chance.  ``burning``: they are lamps, and
        burn.  A sensor that was given an order keeps to it.
        """
        if not self._ordered:
            self._expected = () if burning else pulses
            lamps_lx = LAMP_LX_PER_LXS * sum(pulse.exposure_lxs for pulse in pulses) if burning else 0.0
            self.chip.ambient_lx += lamps_lx - self._lamps_lx
            self._lamps_lx = lamps_lx

    def hold(self, held_off_m: float | None, reflectance: float = 0.5) -> None:
        """Hold the dome so far off a face (or a card) from now on, for its range finder; None is a hand's usual distance."""
        self._held_m, self._reflectance = UNDECLARED_M if held_off_m is None else held_off_m, reflectance

    def pose(
        self, step: str, kind: str, part: float | None, range_index: int | None, value: float | None = None,
        light: float | None = None,
    ) -> None:  # fmt: skip
        """Be held, and lit, as a step of a walk asks; a simulated sensor has no hands.

        ``part`` is how far the step's light should fill its range; without it 75 % of the most sensitive one.  ``value`` is the
        step's angle in degrees or distance in metres, ``light`` what a known flash gives there, in lx·s.
        """
        held, _, how = step.partition("-")
        lit = {"dark": 0.0, "after": 0.0, "leak": 0.0, "torch": TORCH_LX}.get(held, self.studio.ambient_lx)
        if step == "torch":
            lit = 0.5 * FULL_SCALE_LX[-1]
        seen = 1.0
        if held == "add":
            # Two lights alike: alone each gives half of what both do.
            _, level, who = how.split("-")
            part, seen = (0.85 if level == "hi" else 0.4), (1.0 if who == "ab" else 0.5)
        elif held == "angle" and value is not None:
            seen = (1.0 + math.cos(math.radians(value))) / 2.0
        elif held == "distance" and value:
            # From where it nearly fills the less sensitive range to where the other still reads it well.
            part, range_index, seen = 0.35, 0, (0.5 / value) ** 2
        peak_lx = seen * (0.75 * FULL_SCALE_LX[-1] if part is None else part * FULL_SCALE_LX[range_index or 0])
        if kind == Kind.STEADY and part is not None:
            lit = peak_lx
        self.chip.ambient_lx = lit
        flash = SMALL_FLASH._replace(fall_s=0.2e-3) if held == "short" else SMALL_FLASH
        flash = flash._replace(exposure_lxs=peak_lx / flash.peak_lx) if light is None else FULL_POWER._replace(exposure_lxs=light)
        self.expect(*([flash] if kind == Kind.FLASH else []))
        if kind == Kind.FLASH:
            self._lit[step] = flash.exposure_lxs

    def reference(self, step: str, value: float | None) -> float:
        """What a reference in the dome's place reads at a step, in lx·s of its pop, or in lx of a lamp dimmed as it asks.

        Raises UsageError: the pop was another simulated sensor's, before the walk was stopped.
        """
        if step.startswith("ref-steady"):
            return value or 0.5 * FULL_SCALE_LX[-1]
        lit = self._lit.get(step.replace("ref", "pair", 1))
        if lit is None:
            raise UsageError("that light was simulated before the walk was stopped: stop with q and begin again with --anew")
        return lit

    def pop(self, light: str | Light, held_off_m: float = 0.0, toward: str = "light") -> bool:
        """Fire a light of the studio by name, or any light; return whether the sensor saw it."""
        pulse = self.studio.pulse(light, held_off_m, toward) if isinstance(light, str) else light
        return self._show(self.chip.pop(pulse, self._now_s()))

    def pop_damaged(self, light: Light) -> bool:
        """Fire, and damage the block on its way: the notice arrives, the block does not."""
        shown = self.chip.pop(light, self._now_s())
        if shown is None:
            return False
        block = bytearray(shown.block)
        place = self._random.randrange(1, len(block) - 1)
        block[place] ^= 1 << self._random.randrange(8)
        return self._show(shown._replace(block=bytes(block)))

    def _show(self, shown: Shown | None) -> bool:
        if shown is None:
            return False
        for frame in (shown.notice, shown.colour, shown.block):
            self.say(frame)
        return True

    def garbage(self, count: int = 100) -> None:
        """Send random bytes."""
        self.say(self._random.randbytes(count))

    def reset(self) -> None:
        """Let the sensor restart, as by its button or a dip of the supply."""
        self.say(self.chip.restart())

    def unplug(self, *, half_frame: bool = False) -> None:
        """Pull the cable, if wished in the middle of a frame."""
        if half_frame:
            frame = self.chip.steady(self._now_s())
            self.say(frame[: len(frame) // 2])
        self.plugged = False
        on_lost, self._on_bytes, self._on_lost = self._on_lost, None, None
        for task in self._tasks:
            task.cancel()
        self._tasks = []
        if on_lost is not None:
            on_lost(LinkLost("the simulated sensor is gone: plug it in again", self.url))

    def plug(self) -> None:
        """Put the cable back; a chip that was without power starts anew when it is opened."""
        self.plugged = True
        self.chip.restart()

    def say(self, data: bytes) -> None:
        """Deliver bytes in pieces, as a line does."""
        for start in range(0, len(data), CHUNK_BYTES):
            if self._on_bytes is not None:
                self._on_bytes(data[start : start + CHUNK_BYTES], self._clock(), "")

    # ------------------------------------------------------------------------------------------- by itself

    def _now_s(self) -> float:
        return self._clock() - self._start_s

    async def _send_steady(self) -> None:
        while True:
            rate_hz = self.chip.steady_rate_hz
            await self._sleep(1.0 / rate_hz if rate_hz else 0.1)
            if self.chip.steady_rate_hz:
                self.say(self.chip.steady(self._now_s()))

    async def _send_distance(self) -> None:
        while True:
            await self._sleep(1.0 / RANGER_HZ)
            tremor = 0.002 * math.sin(2.0 * math.pi * self._now_s())
            self.say(self.chip.distance(max(0.0, self._held_m + tremor), self._reflectance))

    async def _fire_in_order(self) -> None:
        await self._sleep(FIRST_POP_S)
        for name in itertools.cycle(self._order):
            if self._expected is None:
                self.pop(name)
            elif self._expected:
                self.pop(self._random.choice(self._expected))
            await self._sleep(self._every_s)
