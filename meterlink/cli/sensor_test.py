"""Test a sensor that was just plugged in: two minutes with a cap, a phone's torch and any flash, and the likely fault by name.

examples:
  meterlink sensor-test                       the sensor that is connected
  meterlink sensor-test --sensor "serial:/dev/ttyUSB0?dialect=pop-lines"
  meterlink sensor-test --sensor "sim:?fault=diode-reversed"    how a bad build is named

At each step: Enter (steady light) or fire; u takes the last one back, s leaves a step out, q stops and shows what is known so far.
Exit code 1 when a fault is named.  How good a sound sensor is: meterlink verify.
"""

from __future__ import annotations

import argparse
import asyncio
from typing import Any

from meterlink.calibration.health import Check, LinkCounts, SensorTest, checks_of, faults_of
from meterlink.cli.frame import JSON, SENSOR, open_library, print_json, print_rows
from meterlink.cli.keys import Lines
from meterlink.cli.tasks import begun, drive, teller
from meterlink.errors import SensorError
from meterlink.units import parse_distance
from meterlink.words.actions import Do
from meterlink.words.language import marked, say, translated

OUTCOMES = (marked("good"), marked("fault"), marked("left out"), marked("unclear"))
ROWS = (
    marked("link"), marked("dark"), marked("torch"), marked("pops"), marked("supply"), marked("reference"), marked("temperature"),
    marked("pace"), marked("battery"),
)  # fmt: skip
OPTIONS = (SENSOR, JSON)


def run(args: argparse.Namespace) -> int:
    """Walk and name; exit code 1 with a fault."""
    walk, link, who = asyncio.run(_walk(args))
    faults, rows = faults_of(walk, link), checks_of(walk, link)
    if args.json:
        print_json({
            "sensor": who, "checks": rows,
            "faults": [{"name": f.name, "evidence": f.evidence, "remedy": f.remedy} for f in faults],
        })  # fmt: skip
    else:
        print()
        print_rows(("check", "seen", ""), [(translated(r.what), str(r.seen), translated(r.outcome)) for r in rows])
        for i, fault in enumerate(faults):
            name = translated(fault.name)
            first = say("likely: {fault}: {seen}", fault=name, seen=fault.evidence)
            print(first if i == 0 else say("and: {fault}: {seen}", fault=name, seen=fault.evidence))
            print(f"  {fault.remedy}")
        if not faults:
            print(_no_fault(rows))
    return 1 if faults else 0


def _no_fault(rows: list[Check]) -> str:
    open_rows = ", ".join(translated(r.what) for r in rows if r.outcome in ("left out", "unclear"))
    if open_rows:
        return say("no fault seen, and nothing known of: {rows}", rows=open_rows)
    return say("no fault seen; next: {do}", do=Do("verify"))


async def _walk(args: argparse.Namespace) -> tuple[SensorTest, LinkCounts, str]:
    tell = teller(args.json)
    with open_library(args) as library:
        async with begun(library, args.sensor, tell, named=_named) as (watching, identity, calibration, supply):
            walk = SensorTest(identity, calibration)
            stats = watching.sensor.decoder.stats
            before = stats.frames, stats.damaged_total
            await drive(watching, walk, tell, lambda text, _task: parse_distance(text), Lines())
            battery = watching.sensor.intake.battery
            link = LinkCounts(
                stats.frames - before[0], stats.damaged_total - before[1], supply[0] if supply else None,
                battery.fraction if battery else None, await watching.sensor.told_now(),
            )  # fmt: skip
            return walk, link, walk.identity.name


async def _named(watching: Any) -> None:
    """Wait for the sensor's name.  Raises SensorError that says the likely reason when none comes."""
    try:
        await watching.identified()
    except SensorError:
        stats = watching.sensor.decoder.stats
        if stats.damaged_total or stats.dropped_bytes:
            raise SensorError(
                "{url}: bytes come, but none that make sense: likely another speed or dialect, or not our program; see 'meterlink "
                "sensors --try'", url=watching.url,
            ) from None
        raise SensorError(
            "{url}: not a byte comes: likely the board has no program, or it stands still (reset it), or sending and receiving "
            "wires are changed over; then a cable that only charges", url=watching.url,
        ) from None
