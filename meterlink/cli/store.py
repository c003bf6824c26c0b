"""Look after the library file: check it, copy it, list its backups, put one in its place.

examples:
  meterlink store check
  meterlink store check --library old.sqlite
  meterlink store copy /media/stick/library.sqlite
  meterlink store copy /media/stick/library.sqlite --replace
  meterlink store backups                        what is kept, with sizes
  meterlink store restore latest                 the newest backup; what stands there now is kept beside the others
  meterlink store restore 20260105T081500.000000Z-day

Backups are kept beside the library, in NAME.backups: one before each migration, import, merge and sync and one a day; the newest
five, the last one of each of seven days and of each of four weeks.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from meterlink.cli.frame import open_library, out
from meterlink.errors import LibraryDamaged
from meterlink.library import check
from meterlink.library.backup import Backups
from meterlink.library.export import write_library
from meterlink.library.store import default_path
from meterlink.words.actions import Do
from meterlink.words.language import say_count, say_for
from meterlink.words.told import written


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the actions."""
    actions = parser.add_subparsers(dest="action", required=True, metavar="check|copy|backups|restore")
    actions.add_parser("check", help="integrity, orphans, every record and waveform, versions")
    copy = actions.add_parser("copy", help="a safe copy, also while others use the library")
    copy.add_argument("target")
    copy.add_argument("--replace", action="store_true", help="when another library's file stands there")
    actions.add_parser("backups", help="list the backups with their sizes")
    restore = actions.add_parser("restore", help="put a backup in the library's place")
    restore.add_argument("backup", help="latest, a name from 'store backups', or a library file")


def run(args: argparse.Namespace) -> int:
    """Do the action; ``check`` exits with 1 when something is wrong."""
    path = args.library or default_path()
    if args.action == "check":
        return _check(check.check(path))
    if args.action == "backups":
        return _list(Backups(path))
    if args.action == "restore":
        return _restore(Backups(path), args.backup)
    with open_library(args, create=False) as library:
        write_library(library, Path(args.target), replace=args.replace)
        print(args.target)
    return 0


def _list(backups: Backups) -> int:
    found = backups.all()
    for one in found:
        when = time.strftime("%Y-%m-%d %H:%M", time.localtime(one.made_at_s))
        size = written(one.size_bytes, "megabytes")
        print(f"{when}  {say_for('backup', one.reason):<9}  {size:>9}  {one.path.name}")
    if found:
        total = sum(one.size_bytes for one in found)
        out("backups: {count}, {total:megabytes}, in {folder}", count=len(found), total=total, folder=backups.folder)
    else:
        out("no backup of {library} yet", library=backups.library)
    return 0


def _restore(backups: Backups, name: str) -> int:
    copy = backups.named(name)
    report = check.check(copy)
    if not report.sound:
        raise LibraryDamaged(
            "{copy} is damaged itself ({findings}), nothing was changed: choose another backup",
            copy=copy, findings=report.findings[0].said,
        )
    kept = backups.restore(copy)
    out("{library}: restored from {copy}, {counts}", library=backups.library, copy=copy.name, counts=_counts(report.counts))
    if kept is not None:
        out("  what stood there ({counts}) is kept;", counts=_counts(check.check(kept).counts))
        out("  back to it: {do}", do=Do("store_restore", backup=kept.stem))
    return 0


def _counts(counts: dict[str, int]) -> str:
    """The records that a person knows of, in words."""
    of = {"setup": 0, "light": 0, "placement": 0, "reading": 0, "waveform": 0, **counts}
    return ", ".join((
        say_count("{count} set-up", "{count} set-ups", of["setup"]),
        say_count("{count} light", "{count} lights", of["light"]),
        say_count("{count} placement", "{count} placements", of["placement"]),
        say_count("{count} reading", "{count} readings", of["reading"]),
        say_count("{count} waveform", "{count} waveforms", of["waveform"]),
    ))  # fmt: skip


def _check(report: check.Report) -> int:
    out("{path}: sound, {counts}" if report.sound else "{path}: DAMAGED, {counts}", path=report.path, counts=_counts(report.counts))
    out("  {size:megabytes}, schema {version}", size=report.size_bytes, version=report.schema_version)
    backups = Backups(report.path).all()
    total = sum(one.size_bytes for one in backups)
    out("  backups: {count}, {total:megabytes}" if backups else "  no backup yet", count=len(backups), total=total)
    for finding in report.findings:
        print(f"  {say_for('level', finding.level)}: {finding.said}; {finding.advice}")
    return 0 if report.sound else 1
