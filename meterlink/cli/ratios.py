"""The ratio table of the set: as read, corrected, stops from the key with their uncertainty, share, verdict.

examples:
  meterlink ratios
  meterlink ratios --json            rows as data
  meterlink ratios --json --whole    with the lighting ratio and the working aperture

"as read" is what the dome saw, "at point" what the face gets after the correction ("corr.") for the held-off distance.
"from key" is in stops, ± is k=2; "ratio" is key to light.  A light that was moved or re-powered since has no number until
it is metered again.
"""

import argparse

from meterlink import units
from meterlink.checks.findings import Finding
from meterlink.checks.shutter import beyond_sync
from meterlink.cli.checks import count_line
from meterlink.cli.frame import add_json_option, add_setup_option, is_terminal, open_set, print_json, print_rows, wrapped
from meterlink.metering.opened_set import OpenedSet
from meterlink.records import Setup
from meterlink.tables.ratios import Aperture, RatioRow, RatioTable
from meterlink.words.actions import Do
from meterlink.words.language import marked_for, say, with_decimal_sign
from meterlink.words.shared import reasons
from meterlink.words.told import put, told, written

NOTHING = "–"


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    add_setup_option(parser)
    add_json_option(parser)
    parser.add_argument("--whole", action="store_true", help="with --json: also lighting ratio and aperture")


def run(args: argparse.Namespace) -> int:
    """Print the table."""
    with open_set(args, OpenedSet) as session:
        if args.json:
            table = session.ratios()
            print_json(table.as_json() if args.whole else [row.as_json() for row in table.rows])
        else:
            print_ratios(session)
    return 0


def print_ratios(session: OpenedSet, *, calibration_known: bool = False) -> None:
    """Print the table, the lighting ratio, the aperture, whether the shutter is beyond the sync speed, and what is missing.

    At last how much the checks found.  ``calibration_known``: what the calibration is worth was said before, not again.
    """
    setup, table = session.setup, session.ratios()
    if not table.rows:
        print(say("{setup}: no lights yet: {do}", setup=setup.name, do=Do("add_light")))
        return
    with_t01 = any(row.t01_s for row in table.rows)
    headings = ["light", "role", "as read", "corr.", "at point", "from key", "ratio", "share"]
    headings += ["t0.1"] * with_t01 + ["verdict", "reason"]
    right = "llrrrrrr" + "r" * with_t01 + "ll"
    rows = [_cells(row, with_t01) for row in table.rows]
    if is_terminal():
        # A terminal is narrow and a reason is a sentence: the sentences stand below the table, the role is in the order.
        keep = [i for i, heading in enumerate(headings) if heading not in ("role", "reason")]
        narrow = [[row[i] for i in keep] for row in rows]
        print_rows([headings[i] for i in keep], narrow, title=setup.name, right="".join(right[i] for i in keep))
        for reason in reasons(table.rows):
            print(wrapped(str(reason)))
    else:
        print_rows(headings, rows, title=setup.name, right=right)
    for line in summary_lines(setup, table, beyond_sync(session.view()), calibration_known=calibration_known):
        print(wrapped(line))
    if counted := count_line(session.checks()):
        print(counted)


HEADINGS = (
    marked_for("column", "light"), marked_for("column", "role"), marked_for("column", "as read"), marked_for("column", "corr."),
    marked_for("column", "at point"), marked_for("column", "from key"), marked_for("column", "ratio"),
    marked_for("column", "share"), marked_for("column", "t0.1"), marked_for("column", "verdict"), marked_for("column", "reason"),
)  # fmt: skip


def _cells(row: RatioRow, with_t01: bool) -> list[str]:
    cells = [
        row.light,
        written(row.role, "role"),
        _f(row.as_read_f),
        NOTHING if row.correction_stops is None else written(row.correction_stops, "stops2"),
        _f(row.corrected_f),
        _from_key(row),
        NOTHING if not row.light_over_key else written(1.0 / row.light_over_key, "ratio"),
        NOTHING if row.share is None else f"{row.share * 100:.0f} %",
    ]
    if with_t01:
        cells.append(units.format_duration(row.t01_s) if row.t01_s else NOTHING)
    return [*cells, str(told(row.verdict)) if row.verdict else NOTHING, row.reason]


def _f(value: float | None) -> str:
    return NOTHING if value is None else written(value, "f")


def _from_key(row: RatioRow) -> str:
    if row.from_key_stops is None:
        return NOTHING
    if row.light_over_key == 1.0 and row.role == "key":
        return "0"
    u95 = f" ±{row.from_key_u95_stops:.1f}" if row.from_key_u95_stops is not None else ""
    return with_decimal_sign(units.format_stops(row.from_key_stops) + u95)


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
    notes = [one for one in table.told if not (calibration_known and one.code == "assumed_calibration")]
    lines += [say("note: {note}", note=note) for note in notes]
    return lines


def _aperture(aperture: Aperture) -> str:
    left = aperture.left_over_stops
    exactly = say("{aperture} (exactly {f} ± {u:.1f}", aperture=aperture.nominal, f=_f(aperture.f), u=aperture.u95_stops)
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
