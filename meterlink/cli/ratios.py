"""The ratio table of the set: as read, corrected, stops from the key with their uncertainty, share, verdict.

examples:
  meterlink ratios
  meterlink ratios --json            rows as data
  meterlink ratios --json --whole    with the lighting ratio and the working aperture

"as read" is what the dome saw, "at point" what the face gets after the correction ("corr.") for the held-off distance.
"from key" is in stops, ± is k=2; "ratio" is key to light, each metered toward it.  "share" is its part of what a dome at the
face gets that is turned to the camera: a light from the side counts for less.  A light that was moved or re-powered since has
no number until it is metered again.
"""

from __future__ import annotations

import argparse

from meterlink import units
from meterlink.checks.findings import Finding
from meterlink.checks.shutter import beyond_sync
from meterlink.cli.checks import count_line
from meterlink.cli.frame import JSON, SETUP_BY_NAME, open_set, option, print_json, print_rows
from meterlink.cli.terminal import is_terminal
from meterlink.metering.opened_set import OpenedSet
from meterlink.records import Setup
from meterlink.tables.ratios import Aperture, RatioTable
from meterlink.words.actions import Do
from meterlink.words.language import say
from meterlink.words.shared import reasons, row_texts
from meterlink.words.told import put, told, written

HEADINGS = ("light", "role", "as read", "corr.", "at point", "from key", "ratio", "share", "t0.1", "verdict", "reason")
RIGHT = "llrrrrrrrll"
"""How each column is aligned."""
OPTIONS = (
    *SETUP_BY_NAME,
    JSON,
    option("--whole", action="store_true", help="with --json: also lighting ratio and aperture"),
)


def run(args: argparse.Namespace) -> None:
    """Print the table."""
    with open_set(args, OpenedSet) as session:
        if args.json:
            table = session.ratios()
            print_json(table if args.whole else table.rows)
        else:
            print_ratios(session)


def print_ratios(session: OpenedSet, *, calibration_known: bool = False) -> None:
    """Print the table, the lighting ratio, the aperture, whether the shutter is beyond the sync speed, and what is missing.

    At last how much the checks found.  ``calibration_known``: what the calibration is worth was said before, not again.
    """
    setup, table = session.setup, session.ratios()
    if not table.rows:
        print(say("{setup}: no lights yet: {do}", setup=setup.name, do=Do("add_light")))
        return
    # A terminal is narrow and a reason is a sentence: the sentences stand below the table, the role is in the order.
    left_out: set[str] = {"role", "reason"} if is_terminal() else set()
    if not any(row.t01_s for row in table.rows):
        left_out.add("t0.1")
    kept = [i for i, heading in enumerate(HEADINGS) if heading not in left_out]
    texts = [[row.light, written(row.role, "role"), *row_texts(row)] for row in table.rows]
    rows = [[row[i] for i in kept] for row in texts]
    print_rows([HEADINGS[i] for i in kept], rows, title=setup.name, right="".join(RIGHT[i] for i in kept))
    if is_terminal():
        for reason in reasons(table.rows):
            print(str(reason))
    for line in summary_lines(setup, table, beyond_sync(session.view()), calibration_known=calibration_known):
        print(line)
    if counted := count_line(session.checks()):
        print(counted)


def summary_lines(
    setup: Setup, table: RatioTable, beyond: Finding | None = None, *, calibration_known: bool = False
) -> list[str]:
    """What stands below the table."""
    lines = []
    incident, high_low = table.lighting_ratio_words
    if incident:
        lines.append(say("lighting ratio: key to fill {ratio} (incident),", ratio=incident))
        lines.append(" " * 16 + say("(key + fill) to fill {ratio} (highlight to shadow)", ratio=high_low))
    if table.aperture_key:
        lines.append(say("set the camera to {aperture} from the key alone", aperture=_aperture(table.aperture_key)))
    if table.aperture_key_and_fill:
        lines.append(" " * 15 + say("or {aperture} from key and fill", aperture=_aperture(table.aperture_key_and_fill)))
    if table.aperture_key:
        lines.append("               " + _camera(setup))
    if beyond is not None:
        lines.append(f"! {beyond.text}: {beyond.advice}")
    notes = [one for one in table.notes if not (calibration_known and one.code == "assumed_calibration")]
    lines += [say("note: {note}", note=note) for note in notes]
    return lines


def _aperture(aperture: Aperture) -> str:
    left = aperture.left_over_stops
    nominal, f = written(aperture.nominal, "figure"), written(aperture.f, "f")
    exactly = say("{aperture} (exactly {f} ± {u:.1f}", aperture=nominal, f=f, u=aperture.u95_stops)
    if abs(left) < 0.05:
        return f"{exactly})"
    return f"{exactly}, {told('stops_over' if left > 0 else 'stops_under', stops=left)})"


def _camera(setup: Setup) -> str:
    shutter = f", {units.format_shutter(setup.shutter_s)}" if setup.shutter_s else ""
    applied = []
    if setup.camera_offset_stops:
        applied.append(put("camera offset {stops:stops}", stops=setup.camera_offset_stops))
    if setup.filter_stops:
        applied.append(say("filter {stops:.1f} stops", stops=setup.filter_stops))
    at = say("at {camera}", camera=f"{units.format_iso(setup.iso)}{shutter}")
    return f"{at} ({say('{what} included', what=', '.join(applied))})" if applied else at
