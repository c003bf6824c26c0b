"""Verify a newly built sensor in ten minutes: no reference needed, each step compares it with a law or with itself.

examples:
  meterlink verify                       the walk; ends with a table and named causes, kept as the sensor's certificate
  meterlink verify --page cert.html      the certificate also as a page to print
  meterlink verify --show                the last certificate of the sensor
  meterlink verify --design 2000000 200000    full scales by design, tells a wrong resistor after calibration too

At each step: Enter (steady light), fire (flash), u takes the last one back, s leaves a step out, q stops and shows what is
known so far.
"""

from __future__ import annotations

import argparse
import asyncio
import time
from pathlib import Path
from typing import Any

from meterlink.calibration.acceptance import AcceptanceWalk
from meterlink.calibration.certificate import certificate, certified
from meterlink.calibration.chosen import in_use, reminders
from meterlink.calibration.judge import judge
from meterlink.cli.as_typed import between
from meterlink.cli.frame import JSON, RECEPTOR, SENSOR, open_library, option, out, print_json
from meterlink.cli.keys import Lines
from meterlink.cli.tasks import begun, drive, teller
from meterlink.errors import NotInLibrary
from meterlink.library.files import write_whole
from meterlink.report.acceptance import as_html, as_text
from meterlink.sensor.measuring.calibrate import default_calibration
from meterlink.units import parse_distance
from meterlink.words.actions import Do
from meterlink.words.language import say

OPTIONS = (
    SENSOR,
    RECEPTOR,
    option("--design", nargs="+", type=between(1, 1e9), metavar="LX", help="full scale of each range by design"),
    option("--temperature", type=between(-40, 100), metavar="CELSIUS"),
    option("--page", metavar="FILE", help="write the certificate as HTML"),
    option("--show", action="store_true", help="print the stored certificate, measure nothing"),
    JSON,
)


def run(args: argparse.Namespace) -> int:
    """Walk, judge, store and print; exit 0 when nothing failed."""
    if args.show:
        record = _stored(args)
    else:
        record = asyncio.run(_walk(args))
    if args.page:
        write_whole(Path(args.page), as_html(record).encode())
    if args.json:
        print_json(record)
    else:
        print(as_text(record), end="")
        if args.page:
            out("page: {file}", file=args.page)
    return 0 if record["verdict"] != "failed" else 1


async def _walk(args: argparse.Namespace) -> dict[str, Any]:
    tell, receptor = teller(args.json), args.receptor or ""
    with open_library(args) as library:
        async with begun(library, args.sensor, tell, receptor) as sensor:
            _, identity, calibration, supply = sensor
            tell(str(in_use(calibration)))
            for words in reminders(calibration, identity, time.time(), receptor=args.receptor, temperature_c=args.temperature):
                tell(f"! {words}")
            design = args.design or [r.full_scale_lx for r in default_calibration(identity).ranges]
            walk = AcceptanceWalk(identity, calibration, nominal_lx=design, receptor=receptor)
            walk.supply = supply
            finished = await drive(sensor.watching, walk, tell, lambda text, _task: parse_distance(text), Lines())
        now = time.time()
        record = certificate(
            identity, calibration, judge(walk), made_at_s=now, receptor=walk.receptor, temperature_c=args.temperature
        )
        if finished:
            library.add_calibration(certified(calibration, record, now))
        else:
            tell(say("stopped before the end: shown, not stored"))
        return record


def _stored(args: argparse.Namespace) -> dict[str, Any]:
    with open_library(args) as library:
        for calibration in reversed(library.calibrations()):
            record = calibration.details.get("certificate")
            if record:
                return dict(record)
    raise NotInLibrary("no sensor of this library has been verified: connect the sensor: {do}", do=Do("verify"))
