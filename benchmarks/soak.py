"""Life on set for hours, with a fault every few seconds: every accepted reading is in the library, none twice, none invented.

A photographer meters set after set with the simulated sensor while a seeded script damages what passes over the link,
resets the sensor, pulls its cable (also in the middle of a block), lets another program hold it, and makes it drop pops.
Time is virtual: minutes pass in seconds.  Run ``python -m benchmarks.soak [--minutes 30] [--seed 1]``; it ends by itself
after ``--limit`` seconds of real time and exits 1 when anything is wrong.
"""

from __future__ import annotations

import argparse
import asyncio
import random
import resource
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from meterlink.library.store import Library
from meterlink.metering.driver import Metering
from meterlink.metering.session import Outcome, Session
from meterlink.metering.walk import Request
from meterlink.records import Light, Placement, Setup, WaveBlock, new_id
from meterlink.sensor.dialects.native import NativeDecoder
from meterlink.sensor.link.reconnect import ReconnectingLink
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from meterlink.testing import VirtualLoop
from tests.faults.faulty_link import FaultyLink

LIGHTS = ("KEY", "FILL", "HAIR", "BACKGROUND")
ROUNDS_PER_SET = 4
PATIENCE_S = 5.0
"""She fires again when nothing was heard for so long."""
TOLERANCE = 0.12
"""A reading further off than this is not of the pop that was fired: exposures of pops in a row differ by more."""
MEMORY_MB = 12.0
"""Growth after the first third that counts as flat: caches of the libraries still fill a little."""


class Soak:
    """One run: what was fired, what was accepted, and what is wrong."""

    def __init__(self, seed: int, folder: Path, loop: VirtualLoop) -> None:
        self.random = random.Random(seed)
        self.path = folder / "soak.sqlite"
        self.library = Library.open(self.path)
        self.loop = loop
        self.simulated = SimulatedLink(seed=seed, clock=loop.time)
        self.faulty = FaultyLink(self.simulated, seed=seed, rate=0.03)
        self.faults: Counter[str] = Counter()
        self.outcomes: Counter[str] = Counter()
        self.states: Counter[str] = Counter()
        self.fired: list[float] = []
        self.sent: dict[int, bytes] = {}
        """Samples that the sensor sent last, by its own number of the pop."""
        self.taken_by: dict[int, str] = {}
        self.wrong: list[str] = []
        self.heard = asyncio.Event()
        self.session: Session | None = None

    def on_outcome(self, outcome: Outcome) -> None:
        """Check one outcome against the last pop that was fired."""
        self.outcomes[outcome.kind] += 1
        if outcome.kind == "logged" and outcome.reading is not None:
            number = len(self.fired) - 1
            truth = self.fired[number]
            got = outcome.reading.exposure_lxs or 0.0
            if number in self.taken_by:
                self.wrong.append(f"pop {number} gave two readings")
            if abs(got / truth - 1.0) > TOLERANCE:
                self.wrong.append(f"pop {number} of {truth:.1f} lx s was logged as {got:.1f}")
            wave = self.library.waveform(outcome.reading.id)
            if wave is None or wave.data != self.sent.get(wave.pop):
                self.wrong.append(f"the waveform of pop {number} is not what the sensor sent")
            self.taken_by[number] = outcome.reading.id
        if outcome.kind in ("logged", "again"):
            self.heard.set()

    async def live(self, minutes: float, limit_s: float) -> int:
        """Meter until the virtual time is over; return the number of sets."""
        started, real = self.loop.time(), time.monotonic()
        sets = 0
        while self.loop.time() - started < minutes * 60.0:
            await self.one_set(sets)
            sets += 1
            if time.monotonic() - real > limit_s:
                self.wrong.append(f"out of time after {(self.loop.time() - started) / 60:.1f} of {minutes} minutes")
                break
        return sets

    async def one_set(self, number: int) -> None:
        """Meter all lights of a fresh set-up a few times."""
        setup = Setup(new_id(), f"set {number}-{len(self.fired)}", self.loop.time(), shutter_s=1 / 128)
        self.library.add_setup(setup)
        self.library.use_setup(setup.id)
        session = Session(self.library, now=self.loop.time)
        for order, name in enumerate(LIGHTS):
            light = Light(new_id(), setup.id, name, name.lower(), order=order)
            session.add_light(light, Placement(new_id(), light.id, self.loop.time(), "disk", 0.9, None, 1.4))
        link = ReconnectingLink("sim:", lambda _: self.faulty, clock=self.loop.time)
        session.begin([Request(light.id) for _ in range(ROUNDS_PER_SET) for light in session.lights()])
        metering = Metering(
            session, "serial:/dev/simulated", link=link, on_outcome=self.on_outcome,
            on_state=lambda state: self.states.update([state.name]),
        )  # fmt: skip
        self.faulty.busy_openings = 0
        await metering.open()
        await metering.ready()
        while not session.walk.done:
            await self.one_pop()
        await asyncio.sleep(PATIENCE_S)
        await metering.close()

    async def one_pop(self) -> None:
        """Fire, perhaps with a mishap, and wait for what is said."""
        await asyncio.sleep(self.random.uniform(1.0, 3.0))
        self.heard.clear()
        self.mishap_before()
        exposure_lxs = self.different(self.random.uniform(30.0, 900.0))
        self.fired.append(exposure_lxs)
        await self.fire(Pulse(exposure_lxs, fall_s=self.random.uniform(0.3e-3, 1.2e-3)))
        try:
            await asyncio.wait_for(self.heard.wait(), PATIENCE_S)
        except TimeoutError:
            self.faults["pop that nobody heard of"] += 1

    def different(self, exposure_lxs: float) -> float:
        """Return an exposure that cannot be taken for the last one."""
        last = self.fired[-1] if self.fired else 1.0
        return exposure_lxs * 1.6 if abs(exposure_lxs / last - 1.0) < 0.3 else exposure_lxs

    def mishap_before(self) -> None:
        """Something that happens between two pops."""
        dice = self.random.random()
        if dice < 0.04:
            self.faults["reset"] += 1
            self.simulated.reset()
        elif dice < 0.07:
            self.faults["garbage on the line"] += 1
            self.simulated.garbage(self.random.randint(1, 5000))
        elif dice < 0.09:
            self.faults["pop dropped by the sensor"] += 1
            self.simulated.chip.lose_pop()

    async def fire(self, pulse: Pulse) -> None:
        """Let the sensor see a pop; sometimes its cable is pulled or it restarts while it sends the block."""
        if not self.simulated.plugged:
            return
        dice = self.random.random()
        shown = self.simulated.chip.pop(pulse, self.loop.time())
        if shown is None:
            return
        block = NativeDecoder().feed(shown.block, 0.0)[0]
        assert isinstance(block, WaveBlock)
        self.sent[block.pop] = block.data
        if dice > 0.1:
            self.simulated.say(shown.notice)
            self.simulated.say(shown.block)
            return
        self.simulated.say(shown.notice + shown.block[: self.random.randrange(len(shown.block))])
        if dice < 0.05:
            self.faults["reset in mid-block"] += 1
            self.simulated.reset()
            return
        self.faults["unplugged in mid-block"] += 1
        self.simulated.unplug(half_frame=self.random.random() < 0.5)
        await asyncio.sleep(self.random.uniform(0.1, 12.0))
        self.faulty.busy_openings = self.random.choice((0, 0, 1, 3))
        self.simulated.plug()
        # She sees that the sensor is gone, and waits until it is back.
        await asyncio.sleep(12.0)

    def judge(self) -> None:
        """Compare the library, opened anew, with what was accepted."""
        self.library.close()
        with Library.open(self.path) as library:
            kept = [r.id for s in library.setups() for r in library.all_readings(s.id)]
        accepted = list(self.taken_by.values())
        if len(set(kept)) != len(kept):
            self.wrong.append("a reading is in the library twice")
        if missing := set(accepted) - set(kept):
            self.wrong.append(f"{len(missing)} accepted readings are not in the library")
        if invented := set(kept) - set(accepted):
            self.wrong.append(f"{len(invented)} readings in the library were never accepted")


def resident_mb() -> float:
    """Return the memory of this process in MB (its peak where the system tells no more)."""
    try:
        return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() / 1e6
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


async def run(minutes: float, seed: int, limit_s: float, folder: Path) -> Soak:
    """Live in three parts, look at the memory after the first and the last."""
    loop = asyncio.get_running_loop()
    assert isinstance(loop, VirtualLoop)
    soak = Soak(seed, folder, loop)
    started = loop.time()
    sets = await soak.live(minutes / 3, limit_s / 3)
    before_mb = resident_mb()
    sets += await soak.live(minutes * 2 / 3, limit_s * 2 / 3)
    grown_mb = resident_mb() - before_mb
    soak.judge()
    if grown_mb > MEMORY_MB:
        soak.wrong.append(f"memory grew by {grown_mb:.1f} MB")
    print(f"{(loop.time() - started) / 60:.0f} minutes on set (seed {seed}), {sets} sets, memory grew {grown_mb:+.1f} MB")
    print(f"  pops fired {len(soak.fired)}, readings accepted {len(soak.taken_by)}; outcomes {dict(soak.outcomes)}")
    print(f"  mishaps {dict(soak.faults)}")
    print(f"  link faults {dict(soak.faulty.counts)}")
    print(f"  sensor states told {dict(soak.states)}")
    return soak


def main(argv: list[str] | None = None) -> int:
    """Run and report; exit 1 when anything is wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=30.0, help="virtual minutes on set (default 30)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--limit", type=float, default=300.0, help="seconds of real time (default 300)")
    options = parser.parse_args(argv)
    with tempfile.TemporaryDirectory() as folder, asyncio.Runner(loop_factory=VirtualLoop) as runner:
        soak = runner.run(run(options.minutes, options.seed, options.limit, Path(folder)))
    for line in soak.wrong[:20]:
        print(f"  WRONG: {line}")
    print("  ok" if not soak.wrong else f"  {len(soak.wrong)} wrong")
    return 1 if soak.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
