"""Makes ``session.mlrec``: the demo's set as area lights -> light at the dome -> the real firmware on a simulated chip.

Run from a checkout with the tests' system packages: ``python shared/demo/make_recording.py``.  It takes as long as the set
takes (half a minute).  What the lights really give is in ``set.json`` (``true_exposure_lxs`` at the point, ``decay_us``).
"""

from __future__ import annotations

import asyncio
import math
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from hardware_notes.firmware.bench.simulated_chip import SimulatedChip
from meterlink import demo
from meterlink.library.store import Library
from meterlink.metering.driver import Metering
from meterlink.metering.session import Outcome, Session
from meterlink.metering.walk import Request
from meterlink.sensor.link.recording import RecordingLink
from meterlink.sensor.link.serial_port import SerialLink
from meterlink.simulation.studio import StudioLight, held_off_vector, received

RISE_US = 30.0
PAUSE_S = 1.2


def studio_light(one: dict[str, Any], power_stops: float) -> StudioLight:
    """The light as the simulated studio integrates it."""
    return StudioLight(
        one["name"], one["role"], one["true_exposure_lxs"], one["distance_m"], one["azimuth_deg"], one["elevation_deg"],
        one["shape"], one["width_m"], one.get("height_m", 0.0), power_stops - one.get("power_stops", 0.0),
        emission_n=one.get("emission_n", 1.0),
    )  # fmt: skip


def at_dome(light: StudioLight, held_off_m: float, factor: float = 1.0) -> float:
    """lx·s at a dome held off toward its light and aimed at it."""
    place = held_off_vector(light, held_off_m, "light")
    ratio = received(light, place, "light", "dome") / received(light, (0.0, 0.0, 0.0), "light", "dome")
    return factor * light.exposure_lxs * 2.0**light.power_stops * ratio


def toward_camera(light: StudioLight) -> float:
    """lx·s at a dome at the face that looks at the camera."""
    face = (0.0, 0.0, 0.0)
    return light.exposure_lxs * received(light, face, "camera", "dome") / received(light, face, "light", "dome")


def exposure(session: Session, request: Request, data: dict[str, Any]) -> tuple[float, float]:
    """(lx·s, decay in µs) that the dome gets from the pop that is waited for."""
    lights = {one["name"]: one for one in data["lights"]}
    if request.purpose == "together":
        names = {one.id: one.name for one in session.lights()}
        lit = [lights[names[i]] for i in request.lit]
        return sum(toward_camera(studio_light(one, one.get("power_stops", 0.0))) for one in lit), lit[0]["decay_us"]
    name = next(one.name for one in session.lights() if one.id == request.light_id)
    one = lights[name]
    held = request.held_off_m if request.held_off_m is not None else 0.04
    placement = session.placement(request.light_id or "")
    power = placement.power_stops if placement and placement.power_stops is not None else 0.0
    own = at_dome(studio_light(one, power), held)
    if "reflector_of" not in one:
        return own, one["decay_us"]
    # The dome looks at the card; its source stands at an angle to that and is seen by the dome's response.
    source = lights[one["reflector_of"]]
    a, b = studio_light(source, source["power_stops"]).position, studio_light(one, 0.0).position
    cosine = sum(x * y for x, y in zip(a, b, strict=True)) / (math.dist(a, (0, 0, 0)) * math.dist(b, (0, 0, 0)))
    spill = source["true_exposure_lxs"] * (1.0 + cosine) / 2.0
    return spill + (own if request.purpose == "with" else 0.0), source["decay_us"]


def peak_lx(exposure_lxs: float, decay_us: float) -> float:
    """Peak of a double exponential with this exposure."""
    d, r = decay_us * 1e-6, RISE_US * 1e-6
    t = math.log(d / r) * d * r / (d - r)
    return exposure_lxs / (d - r) * (math.exp(-t / d) - math.exp(-t / r))


async def record(chip: SimulatedChip, target: Path, folder: Path) -> None:
    """Play the demo's steps on the chip and record what comes over the link."""
    data = demo.script()
    with Library.open(folder / "library.sqlite") as library:
        session = demo.build(library, data, time.time)
        player = demo.Player(session, data["steps"], print)

        def on_outcome(outcome: Outcome) -> None:
            print(outcome.kind, outcome.message)
            if outcome.kind == "logged" and session.walk.done:
                player.next_walk()

        link = RecordingLink(SerialLink(chip.pty_path, url="serial:bench"), target)
        metering = Metering(session, f"serial:{chip.pty_path}", on_outcome=on_outcome, link=link)
        player.next_walk()
        await metering.open()
        await metering.ready()
        over = asyncio.ensure_future(metering.walked())
        while not over.done():
            await asyncio.sleep(PAUSE_S)
            request = session.walk.waiting
            if request is not None:
                lxs, decay_us = exposure(session, request, data)
                chip.pop(peak_lx=peak_lx(lxs, decay_us), decay_us=decay_us, rise_us=RISE_US)
        over.result()
        await metering.close()
        for row in session.ratios().rows:
            print(row.light, row.corrected_f, row.verdict, row.reason)


def main() -> None:
    """Write the recording beside this script."""
    target = Path(__file__).with_name("session.mlrec")
    target.unlink(missing_ok=True)
    with tempfile.TemporaryDirectory() as folder, SimulatedChip(paused=False, sensor_id=demo.SENSOR_ID) as chip:
        chip.amplifier(noise=0.001, seed=11)
        chip.ambient(60.0)
        asyncio.run(record(chip, target, Path(folder)))
    print(target.name, target.stat().st_size, "bytes", file=sys.stderr)


if __name__ == "__main__":
    main()
