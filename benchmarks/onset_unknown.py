"""A first light of which nothing is known, from f/2 to f/22: which range to listen for it on, counted in pops and seconds lost.

On the chip's model, in simulated time: on the bright range, and on the sensitive one after 8 s without a pop (what the driver
does at ISO 100); on the sensitive range at once (a pop that clips beyond its bounds is asked for again, on the bright one); on
the range for the aperture that the set-up notes (what the driver does where it is noted).
``python -m benchmarks.onset_unknown``; what follows from it is in ``onset.md``.
"""

from __future__ import annotations

import asyncio
import tempfile
import time
from pathlib import Path

from benchmarks.onset_terminal import BETWEEN_POPS_S, GIVES_UP, NOTICED_S
from meterlink.library.store import Library
from meterlink.metering.driver import Metering
from meterlink.metering.outcome import Outcome, OutcomeKind
from meterlink.metering.session import Session
from meterlink.photometry.exposure import f_number, luminous_exposure
from meterlink.records import Light, Placement, Setup, new_id
from meterlink.simulation.chip_model import ChipModel
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from meterlink.testing import VirtualLoop
from meterlink.units import format_f_number

CONSTANT = 330.0
STUDIO_F = 5.5
"""Keys are mostly at f/5.6 or more (common practice, no published source)."""
THIRDS = range(22)
"""From f/2 on, in thirds of a stop."""
PULSES_S = (0.3e-3, 0.7e-3, 1.5e-3)
"""Decays of a short, a middling and a long flash (common practice, no published source)."""


WAYS = ("bright, 8 s", "sensitive", "aperture")


async def metered(folder: Path, pulse: Pulse, way: str) -> tuple[int, float]:
    """Return the pops and the seconds until the first light of a new set has its reading."""
    loop = asyncio.get_running_loop()
    start_s = time.time()
    with Library.open(folder / f"{new_id()}.sqlite") as library:
        wanted = {"aperture": format_f_number(f_number(pulse.exposure_lxs, 100.0, CONSTANT))} if way == "aperture" else {}
        setup = Setup(new_id(), "Set", start_s, details=wanted)
        library.add_setup(setup)
        light = Light(new_id(), setup.id, "KEY", "key", point="face")
        library.add_light(light)
        library.add_placement(Placement(new_id(), light.id, start_s))
        session = Session(library, setup.id, now=lambda: start_s + loop.time())
        session.begin([session.request(light)])
        told: list[Outcome] = []
        link = SimulatedLink(ChipModel(seed=3), clock=loop.time)
        metering = Metering(session, "sim:?every=0", link=link, on_outcome=told.append)
        await metering.open()
        await metering.ready()
        if way == "sensitive":
            await metering.listen_closer()
        begun_s, pops = loop.time(), 0
        while not session.walk.done and pops < GIVES_UP:
            await asyncio.sleep(BETWEEN_POPS_S)
            pops += 1
            told.clear()
            link.pop(pulse)
            noticed_s = loop.time() + NOTICED_S
            while not told and loop.time() < noticed_s:
                await asyncio.sleep(0.05)
        took_s = loop.time() - begun_s
        assert session.walk.done or told[-1].kind != OutcomeKind.LOGGED
        await metering.close()
    return pops, took_s


def counted(folder: Path, exposure_lxs: float, way: str) -> tuple[float, float]:
    """Return mean pops and seconds of the three flashes that give this exposure."""
    found = []
    for fall_s in PULSES_S:
        with asyncio.Runner(loop_factory=VirtualLoop) as runner:
            found.append(runner.run(metered(folder, Pulse(exposure_lxs, fall_s=fall_s), way)))
    return sum(pops for pops, _ in found) / len(found), sum(took for _, took in found) / len(found)


def main() -> None:
    """Print a line for each third of a stop, and the means."""
    f_numbers = [2.0 * 2.0 ** (third / 6.0) for third in THIRDS]
    found: dict[str, list[tuple[float, float]]] = {way: [] for way in WAYS}
    print(f"{'light':<14}" + "".join(f"{f'{way}: pops      s':>26}" for way in WAYS))
    with tempfile.TemporaryDirectory() as folder:
        for stop in f_numbers:
            row = f"{format_f_number(stop):<14}"
            for way, rows in found.items():
                rows.append(counted(Path(folder), luminous_exposure(stop, 100.0, CONSTANT), way))
                row += f"{rows[-1][0]:>19.1f}{rows[-1][1]:>7.1f}"
            print(row)
    for name, least in (("mean", 0.0), ("f/5.6 and up", STUDIO_F)):
        row = f"{name:<14}"
        for rows in found.values():
            counting = [one for one, stop in zip(rows, f_numbers, strict=True) if stop >= least]
            pops, seconds = (sum(column) / len(counting) for column in zip(*counting, strict=True))
            row += f"{pops:>19.2f}{seconds:>7.2f}"
        print(row)


if __name__ == "__main__":
    main()
