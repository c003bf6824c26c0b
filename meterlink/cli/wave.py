"""The waveform of a light's last pop: what it tells, as a picture in the terminal, as a file, as numbers.

examples:
  meterlink wave KEY                          picture in the terminal, durations, what the shutter keeps
  meterlink wave                              every light whose waveform was kept
  meterlink wave KEY FILL --picture pops.png   several over one another, each scaled to its own peak (.png or .svg)
  meterlink wave KEY --csv key.csv            samples for a spreadsheet; '-' writes to the terminal
  meterlink wave --json

t0.5 is the time above half of the peak, t0.1 above a tenth: t0.1 is what freezes movement.  The curve is the dome's light at
the place where it was read, room light included.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from math import isfinite
from pathlib import Path
from typing import Any

from meterlink.checks.facts import camera, movement
from meterlink.checks.freezing import trails_of
from meterlink.checks.shutter import loss_of
from meterlink.cli.frame import JSON, SETUP, open_set, option, out, print_json
from meterlink.errors import AnalysisError, NotInLibrary, UsageError
from meterlink.library.export import csv_text
from meterlink.library.files import write_whole
from meterlink.metering.opened_set import OpenedSet
from meterlink.records import Reading
from meterlink.report.wave import Trace, terminal_wave, trace_of_samples
from meterlink.report.wave_drawing import MOST_LIGHTS, wave_drawing
from meterlink.words.actions import Do
from meterlink.words.language import marked, say
from meterlink.words.told import Told, put, written

CSV_HEADINGS = ("light", "time_s", "illuminance_lx", "above_ambient_lx")
OPTIONS = (
    option("lights", nargs="*", metavar="LIGHT"),
    option("--pop", type=int, metavar="N", help="which of several pops, 1 is the first (default: the last)"),
    option("--picture", metavar="FILE", help="write a picture, .png or .svg"),
    option("--csv", metavar="FILE", help="write the samples, - for the terminal"),
    SETUP,
    JSON,
)


def run(args: argparse.Namespace) -> None:
    """Show, write, or both."""
    if args.pop is not None and not 1 <= args.pop <= 100:
        raise UsageError("--pop {pop}: give 1 to 100", pop=args.pop)
    with open_set(args, OpenedSet) as session:
        found = _traces(args, session)
        if args.picture:
            _picture(args, session, [trace for trace, _ in found])
        if args.csv:
            _write_csv(args.csv, [trace for trace, _ in found])
        if args.json:
            print_json([_as_json(trace, reading, session) for trace, reading in found])
        elif args.csv != "-":
            _show(args, session, found)


def _traces(args: argparse.Namespace, session: OpenedSet) -> list[tuple[Trace, Reading]]:
    """Waveforms of the lights named, else of all that have one.  Raises AnalysisError with why there is none."""
    wanted = [session.light(name).id for name in args.lights]
    pop = None if args.pop is None else args.pop - 1
    found, missing = [], []
    for state in session.view().lights:
        if wanted and state.light.id not in wanted:
            continue
        reading, name = state.reading or state.stale, state.light.name
        wave = session.wave(reading.id, pop) if reading is not None and reading.kind == "flash" else None
        if wave is None or reading is None:
            missing.append(
                say("{light} has no waveform of pop {pop}" if args.pop else "{light} has no waveform", light=name, pop=args.pop)
            )
            continue
        try:
            found.append((trace_of_samples(*wave, name), reading))
        except AnalysisError as error:
            missing.append(str(error))
    if wanted and missing:
        raise NotInLibrary("{missing}: meter it with a sensor that sees the flash's course", missing='; '.join(missing))
    if not found:
        raise NotInLibrary(
            "{setup}: no waveform was kept: meter the lights, or watch one pop: {do}",
            setup=session.setup.name, do=Do("watch_wave"),
        )
    return found


def _picture(args: argparse.Namespace, session: OpenedSet, traces: list[Trace]) -> None:
    if len(traces) > MOST_LIGHTS:
        raise UsageError(
            "a picture shows at most {most_pictured} lights: name those that you want to see", most_pictured=MOST_LIGHTS
        )
    facts = camera(session.setup, session.settings)
    shutter = None if facts.readout_unknown else facts.shutter
    setup = session.setup.name
    title = f"{setup[:50]}: {traces[0].name}" if len(traces) == 1 else setup[:60]
    wave_drawing(traces, shutter=shutter, title=title).write(args.picture)


def _write_csv(path: str, traces: Sequence[Trace]) -> None:
    """Write one row a sample, to standard output for ``-``; time is from the first rise through a tenth of the peak."""
    rows = [
        (trace.name, f"{time_s:.9f}", f"{light_lx:.6g}", f"{light_lx - trace.pulse.ambient_lx:.6g}")
        for trace in traces
        for time_s, light_lx in zip(trace.times_s, trace.light_lx, strict=True)
    ]
    text = csv_text(CSV_HEADINGS, rows)
    if path == "-":
        sys.stdout.write(text.replace("\r\n", "\n"))
    else:
        write_whole(Path(path), text.encode())


def _show(args: argparse.Namespace, session: OpenedSet, found: list[tuple[Trace, Reading]]) -> None:
    drawn = _drawn(session)
    for trace, reading in found:
        print(f"{trace.name}{_state_words(session, reading)}")
        print(terminal_wave(trace))
        notes = (Told(*note) for note in trace.pulse.notes)
        for line in filter(None, (_numbers(trace), *notes, drawn.get(trace.name), _kept_words(session, trace.name))):
            print(f"  {line}")
        print()
    if args.picture:
        out("picture: {file}", file=args.picture)
    if args.csv:
        out("samples: {file}", file=args.csv)


def _state_words(session: OpenedSet, reading: Reading) -> str:
    state = session.view().state(reading.light_id or "")
    words = say(" (with it in place)") if reading.purpose == "with" else ""
    if state is not None and state.reading is None:
        words += say(" ({why}: an older pop)", why=state.stale_reason)
    return words


def _numbers(trace: Trace) -> str:
    """Durations with their k=2, in words."""
    pulse = trace.pulse
    said = []
    for text, value, u in (("t0.1", pulse.t01_s, pulse.u_t01_s), ("t0.5", pulse.t05_s, pulse.u_t05_s)):
        if value:
            spread = f" ± {max(1.0, 200 * u / value):.0f} %" if u else ""
            said.append(put("{what} {time:duration} ({ms:.3g} ms{spread})", what=text, time=value, ms=value * 1000, spread=spread))
        else:
            said.append(say("{what} cannot be told", what=text))
    if pulse.kind == "train":
        said.append(put("a train of {count} pulses, mean {mean:lx}", count=pulse.pulse_count, mean=pulse.mean_lx))
    return "  ".join(said)


def _drawn(session: OpenedSet) -> dict[str, str]:
    """What each light draws of something that moves."""
    moves = movement(session.setup)
    what = f" ({written(moves.what, 'movement')})" if moves.what else ""
    drawn = {}
    for one in trails_of(session.view()):
        pixels = "" if one.trail_px is None else say(", {count:.1f} pixels", count=one.trail_px)
        drawn[one.light] = say(
            "at {speed:g} m/s{what} it draws a trail of {mm:.2g} mm{pixels}",
            speed=moves.speed_m_s, what=what, mm=one.trail_mm, pixels=pixels,
        )  # fmt: skip
    return drawn


def _loss(session: OpenedSet, name: str) -> Any:
    facts = camera(session.setup, session.settings)
    view = session.view()._replace(waves=session.wave)
    state = next((one for one in view.lights if one.light.name == name), None)
    if facts.shutter is None or facts.readout_unknown or state is None:
        return None
    return loss_of(state, view, facts.shutter)


def _kept_words(session: OpenedSet, name: str) -> str:
    loss = _loss(session, name)
    if loss is None or not session.setup.shutter_s:
        return ""
    if loss.kept.least <= 0.0:
        text = marked("at {time:shutter} {dark:.0%} of the frame gets nothing of it")
    elif loss.kept.loss_stops > -0.05:
        text = marked("at {time:shutter} all of it is in the picture")
    elif loss.kept.band_share == 0.0:
        text = marked("at {time:shutter} it loses {stops:stops_word} evenly")
    else:
        text = marked("at {time:shutter} it loses {stops:stops_word} in the rows that are covered first")
    return put(text, time=session.setup.shutter_s, dark=loss.kept.dark_share, stops=loss.kept.loss_stops)


def _as_json(trace: Trace, reading: Reading, session: OpenedSet) -> dict[str, Any]:
    pulse = {k: None if isinstance(v, float) and not isfinite(v) else v for k, v in trace.pulse._asdict().items()}
    loss = _loss(session, trace.name)
    state = session.view().state(reading.light_id or "")
    return {
        "light": trace.name,
        "reading": reading.id,
        "current": state is not None and state.reading is not None,
        "samples": len(trace.times_s),
        **pulse,
        "shutter_s": session.setup.shutter_s,
        "kept": loss and loss.kept,
    }
