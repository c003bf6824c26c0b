"""Live light from a sensor: steady light several times a second, each pop as it comes.  Nothing is logged.

examples:
  meterlink watch
  meterlink watch --sensor sim:
  meterlink watch --wave            each pop with its waveform
  meterlink watch --pops 3          stop after three pops
  meterlink watch --record day.mlrec --sensor serial:/dev/ttyACM0
"""

from __future__ import annotations

import argparse
import asyncio
from collections import deque

from meterlink import units
from meterlink.checks.room_light import resolution_lx
from meterlink.cli.as_typed import between
from meterlink.cli.driving import sensor_url
from meterlink.cli.frame import RECEPTOR, SENSOR, beside, open_library, option
from meterlink.cli.terminal import LiveLine
from meterlink.errors import RecordingEnded
from meterlink.metering.sensor_in_use import SensorInUse
from meterlink.photometry.exposure import f_number, f_number_steady
from meterlink.photometry.percent_flicker import percent_flicker
from meterlink.records import Measurement
from meterlink.report.wave import terminal_wave
from meterlink.sensor.measuring.tended import SensorState
from meterlink.words.language import say
from meterlink.words.told import put

FLICKER_WINDOWS = 10
"""So many levels in a row tell flicker from noise."""
LEAST_PERCENT = 5.0
STEPS = 1024
"""Of a converter of ten bits; one of more resolves no worse."""


class Flicker:
    """The percent flicker of the last second's levels, where it stands above noise and steps."""

    def __init__(self) -> None:
        self._levels: deque[tuple[float, float]] = deque(maxlen=FLICKER_WINDOWS)
        self._range = -1

    def hear(self, m: Measurement, full_scale_lx: float) -> float | None:
        """Take one level; return the percent flicker, None where none can be told."""
        if m.range_index != self._range or m.modulation is None or not m.illuminance_lx or m.clipped:
            self._levels.clear()
            self._range = m.range_index
        if m.modulation is None or not m.illuminance_lx or m.clipped:
            return None
        self._levels.append((m.illuminance_lx, m.modulation))
        found = percent_flicker([one for one, _ in self._levels], [one for _, one in self._levels], full_scale_lx / STEPS)
        return found[0] if found is not None and found[0] > max(LEAST_PERCENT, 3.0 * found[1]) else None


OPTIONS = (
    SENSOR,
    option("--iso", metavar="ISO", help="show f-numbers for this speed (default 100)"),
    option("--shutter", metavar="T", help="show f-numbers of steady light for this shutter (default 1/125)"),
    option("--pops", type=between(1, 1e6, int), metavar="N", help="stop after N pops"),
    RECEPTOR,
    option("--seconds", type=between(0.1, 1e6), metavar="S", help="stop after S seconds"),
    option("--wave", action="store_true", help="draw each pop"),
    option("--record", metavar="FILE", help="write what comes over the link to FILE"),
)


def run(args: argparse.Namespace) -> None:
    """Watch until stopped."""
    asyncio.run(_watch(args))


async def _watch(args: argparse.Namespace) -> None:
    iso = units.parse_iso(args.iso) if args.iso else 100.0
    shutter_s = units.parse_shutter(args.shutter) if args.shutter else 1 / 128
    over = asyncio.Event()
    seen = 0
    live = LiveLine()

    def on_measurement(m: Measurement) -> None:
        nonlocal seen
        live.clear()
        print(pop_line(m, watching.constant, iso), flush=True)
        if args.wave and m.wave is not None:
            print(terminal_wave(m.wave, watching.calibration), flush=True)
        seen += 1
        if args.pops and seen >= args.pops:
            over.set()

    last_line = 0.0
    flicker = Flicker()

    def on_level(m: Measurement) -> None:
        nonlocal last_line
        if m.illuminance_lx is None:
            return
        used = watching.calibration
        full_lx = used.ranges[m.range_index].full_scale_lx if used is not None and m.range_index < len(used.ranges) else 0.0
        percent = flicker.hear(m, full_lx)
        text = level_line(m, watching.constant, iso, shutter_s, resolution_lx(used, m.range_index), percent)
        if live.on:
            live.show(text)
        elif m.at_s - last_line >= 1.0 or m.at_s < last_line:
            # A program that reads along gets one line a second, not a flood.
            last_line = m.at_s
            print(text, flush=True)

    def on_state(state: SensorState) -> None:
        live.clear()
        beside(state.words)

    with open_library(args) as library:
        url = await sensor_url(library, args.sensor, beside)
        watching = SensorInUse(
            library,
            url,
            record_to=args.record,
            receptor=args.receptor or "",
            on_measurement=lambda m: watching.tell(on_measurement, m),
            on_level=on_level,
            on_state=on_state,
        )
        try:
            await watching.open()
            await watching.identified()
            await watching.until(over, args.seconds)
        except RecordingEnded:
            pass
        finally:
            await watching.close()
    if live.on:
        print()


def pop_line(m: Measurement, constant: float, iso: float) -> str:
    """``pop  f/8 +0.3   220 lx·s   t0.1 1/900 s   peak 410,000 lx``."""
    if m.incomplete:
        return say("pop  {note}", note=m.note)
    parts = [say("pop")]
    if m.exposure_lxs and m.exposure_lxs > 0:
        parts.append(put("{f:f}  {light:lxs}", f=f_number(m.exposure_lxs, iso, constant), light=m.exposure_lxs))
    if m.t01_s:
        parts.append(put("t0.1 {time:duration}", time=m.t01_s))
    if m.t05_s:
        parts.append(put("t0.5 {time:duration}", time=m.t05_s))
    if m.peak_lx:
        parts.append(put("peak {light:lx}", light=m.peak_lx))
    if m.note:
        parts.append(f"({m.note})")
    return "  ".join(parts)


def level_line(
    m: Measurement, constant: float, iso: float, shutter_s: float, least_lx: float = 0.0, flicker_percent: float | None = None
) -> str:
    """``steady  120 lx   f/1.4 at 1/125 s  flickers 10 %``; below ``least_lx`` the range tells only that it is less."""
    lux = max(m.illuminance_lx or 0.0, 0.0)
    if lux < least_lx:
        return put("steady  below {least:lx}", least=least_lx)
    parts = [put("steady  {light:lx}", light=lux)]
    if lux > 0:
        f = f_number_steady(lux, shutter_s, iso, constant)
        if 0.5 <= f <= 128:
            parts.append(put("{f:f} at {time:shutter}", f=f, time=shutter_s))
    if flicker_percent is not None:
        parts.append(say("flickers {percent:.0f} %", percent=flicker_percent))
    if m.cct_k:
        parts.append(f"{m.cct_k:.0f} K")
    return "  ".join(parts)
