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

from meterlink.cli.frame import Action, actions, open_library, option, out
from meterlink.errors import LibraryDamaged
from meterlink.library import check
from meterlink.library.backup import Backups
from meterlink.library.export import write_library
from meterlink.library.store import default_path
from meterlink.words.actions import Do
from meterlink.words.language import say_count, say_for
from meterlink.words.told import written


def run(args: argparse.Namespace) -> int | None:
    """Do the action; ``check`` exits with 1 when something is wrong."""
    args.library = args.library or default_path()
    found: int | None = args.do(args)
    return found


def _copy(args: argparse.Namespace) -> None:
    with open_library(args, create=False) as library:
        write_library(library, Path(args.target), replace=args.replace)
        print(args.target)


def _list(args: argparse.Namespace) -> None:
    backups = Backups(args.library)
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


def _restore(args: argparse.Namespace) -> None:
    backups = Backups(args.library)
    copy = backups.named(args.backup)
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


def _check(args: argparse.Namespace) -> int:
    report = check.check(args.library)
    out("{path}: sound, {counts}" if report.sound else "{path}: DAMAGED, {counts}", path=report.path, counts=_counts(report.counts))
    out("  {size:megabytes}, schema {version}", size=report.size_bytes, version=report.schema_version)
    backups = Backups(report.path).all()
    total = sum(one.size_bytes for one in backups)
    out("  backups: {count}, {total:megabytes}" if backups else "  no backup yet", count=len(backups), total=total)
    for finding in report.findings:
        print(f"  {say_for('level', finding.level)}: {finding.said}; {finding.advice}")
    return 0 if report.sound else 1


OPTIONS = [actions(
    check=Action(_check, "integrity, orphans, every record and waveform, versions"),
    copy=Action(_copy, "a safe copy, also while others use the library", [
        option("target"), option("--replace", action="store_true", help="when another library's file stands there"),
    ]),
    backups=Action(_list, "list the backups with their sizes"),
    restore=Action(_restore, "put a backup in the library's place", [
        option("backup", help="latest, a name from 'store backups', or a library file"),
    ]),
)]  # fmt: skip
