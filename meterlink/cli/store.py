"""Check the library file, copy it safely, or recover what can be read of a damaged one.

examples:
  meterlink store check
  meterlink store check --library old.sqlite
  meterlink store copy backup.sqlite
  meterlink store recover damaged.sqlite rescued.sqlite
"""

from __future__ import annotations

import argparse
from pathlib import Path

from meterlink.cli.frame import open_library
from meterlink.library import repair
from meterlink.library.export import write_library
from meterlink.library.repair import Report
from meterlink.library.store import default_path


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the actions."""
    actions = parser.add_subparsers(dest="action", required=True, metavar="check|copy|recover")
    actions.add_parser("check", help="integrity, orphans, versions")
    copy = actions.add_parser("copy", help="a safe copy, also while others use the library")
    copy.add_argument("target")
    recover = actions.add_parser("recover", help="what can be read of a damaged file, as a new library")
    recover.add_argument("damaged")
    recover.add_argument("target")


def run(args: argparse.Namespace) -> int:
    """Do the action; ``check`` exits with 1 when something is wrong."""
    if args.action == "check":
        return _check(repair.check(args.library or default_path()))
    if args.action == "recover":
        saved = repair.recover(args.damaged, args.target)
        print(f"{saved.path}: {_counts(saved.counts)} saved")
        for loss in saved.losses:
            print(f"  {loss}")
        return 0
    with open_library(args) as library:
        write_library(library, Path(args.target))
        print(args.target)
    return 0


def _counts(counts: dict[str, int]) -> str:
    """The records that a person knows of, in words."""
    names = {"setup": "set-ups", "light": "lights", "placement": "placements", "reading": "readings", "waveform": "waveforms"}
    return ", ".join(f"{counts.get(table, 0)} {name}" for table, name in names.items())


def _check(report: Report) -> int:
    print(f"{report.path}: {'sound' if report.sound else 'DAMAGED'}, {_counts(report.counts)}")
    print(f"  {report.size_bytes / 1e6:.1f} MB, schema {report.schema_version}")
    for finding in report.findings:
        print(f"  {finding.level}: {finding.text}" + (f"; {finding.advice}" if finding.advice else ""))
    return 0 if report.sound else 1
