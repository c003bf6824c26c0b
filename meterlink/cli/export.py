"""Write set-ups or the whole library to a file.

examples:
  meterlink export -o lowkey.json                    the set-up in use
  meterlink export -o lowkey.json "Low key"
  meterlink export -o all.json --everything          all set-ups
  meterlink export -o readings.csv                   readings of the set-up, safe to open in a spreadsheet
  meterlink export -o ratios.csv --ratios            the ratio table
  meterlink export -o studio.sqlite --everything     the whole library as one file, waveforms and all

The JSON format is open and documented: shared/schema/library-v1.schema.json.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from meterlink.cli.frame import SETUP_BY_NAME, beside, open_set, option
from meterlink.errors import UsageError
from meterlink.library import export
from meterlink.library.export import csv_text
from meterlink.library.files import check_new, write_whole
from meterlink.metering.opened_set import OpenedSet
from meterlink.tables.ratios import RatioRow
from meterlink.words.told import plain

OPTIONS = (
    option("-o", "--output", required=True, metavar="FILE", help=".json, .csv or .sqlite"),
    option("--everything", action="store_true", help="all set-ups"),
    option("--ratios", action="store_true", help="with .csv: the ratio table instead of the readings"),
    option("--no-waveforms", action="store_true", help="with .json: leave the waveforms out"),
    option("--replace", action="store_true", help="when a file of that name stands there"),
    *SETUP_BY_NAME,
)


def run(args: argparse.Namespace) -> None:
    """Write the file, whole or not at all."""
    target = Path(args.output)
    kind = target.suffix.lower()
    if kind in (".json", ".csv") and not args.replace:
        check_new(target)
    with open_set(args, OpenedSet) as session:
        if kind == ".json":
            ids = None if args.everything else [session.setup.id]
            export.write_json(session.library, target, ids, waveforms=not args.no_waveforms, tell=beside)
        elif kind == ".csv":
            if args.ratios:
                # Named as in the JSON of ``ratios``.
                names, table = RatioRow("", "", "").as_json(), plain(session.ratios().rows)
                text = csv_text(list(names), [["" if v is None else v for v in row.values()] for row in table])
            else:
                text = export.readings_csv(session.library, session.setup.id)
            write_whole(target, text.encode("utf-8"))
        elif kind in (".sqlite", ".db"):
            if not args.everything:
                raise UsageError("a library file holds everything: add --everything, or write .json for one set-up")
            export.write_library(session.library, target, replace=args.replace)
        else:
            raise UsageError("{target}: choose the ending .json, .csv or .sqlite", target=target.name)
    print(target)
