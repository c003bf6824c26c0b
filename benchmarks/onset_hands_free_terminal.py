"""The hands-free days at a terminal: ``meterlink meter --any`` with a range finder, and no key between two pops.

What the verb itself calls is called here (``cli.meter.requests``, ``cli.driving.drive``, ``Rebuild``), on the chip's model and in
simulated time; what it prints is kept and not read.  Set-ups, moves and targets are recorded as at the desk, in the same library.
"""

from __future__ import annotations

import asyncio
import contextlib
import io

from benchmarks.onset_days import Step
from benchmarks.onset_hands_free import HandsFree
from meterlink.cli import meter
from meterlink.cli.driving import drive
from meterlink.cli.main import parse
from meterlink.metering.outcome import Outcome
from meterlink.metering.rebuild import Rebuild, rebuild_of
from meterlink.metering.session import Session

SETTLES_S = 0.3


class Silent:
    """A keyboard that nobody touches."""

    interactive = True

    async def next(self) -> str | None:
        """Wait for ever."""
        await asyncio.Event().wait()
        return None


class AtTerminal(HandsFree):
    """One day of commands, each begun by one line."""

    session: Session | None = None
    printed = ""

    async def _step(self, step: Step) -> None:
        verb, *rest = step.words
        if verb not in ("meter", "match") or "--room" in rest:
            await super()._step(step)
            return
        for name, stops in step.turns.items():
            self.scene.lights[name] = self.scene.lights[name].turned(stops)
        for name, metres in step.moves.items():
            self.scene.lights[name] = self.scene.lights[name].moved(metres)
        await self.sensors.close()
        self.session = self._rebuild(rest[0]) if verb == "match" else self._metering(rest)
        await self._driven(self.session, step)
        self.session = None
        self.desk.use(self.library.current_setup().id)

    def _metering(self, words: list[str]) -> Session:
        args = parse("meter", words or ["--any"])
        session = Session(self.library, now=self.desk.now)
        session.begin(meter.requests(args, session), any_order=args.any)
        return session

    def _rebuild(self, name: str) -> Rebuild:
        rebuild = rebuild_of(self.library, Session(self.library, name, now=self.desk.now), now=self.desk.now)
        rebuild.begin_rebuild()
        return rebuild

    async def _driven(self, session: Session, step: Step) -> None:
        """Let the terminal drive the walk while she fires."""
        def after(outcome: Outcome) -> str:
            said = session.after(outcome) if isinstance(session, Rebuild) else []
            self.told.append(outcome)
            return " ".join(map(str, said))

        printed = io.StringIO()
        with contextlib.redirect_stdout(printed):
            driving = asyncio.ensure_future(drive(session, "sim:?every=0", after=after, lines=Silent(), link=self.link))
            await asyncio.sleep(1.0)
            await self._walk(step)
            await asyncio.sleep(1.0)
            driving.cancel()  # over already, but where she stops in the middle
            await asyncio.gather(driving, return_exceptions=True)
        self.printed += printed.getvalue()

    async def _prepared(self) -> Session:
        if self.session is None:
            return await super()._prepared()
        await asyncio.sleep(SETTLES_S)
        return self.session
