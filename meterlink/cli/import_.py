"""Take set-ups from a file that meterlink (or another program) wrote; checked first, all or nothing.

examples:
  meterlink import lowkey.json
  meterlink import lowkey.json --show          only say what it would add
  meterlink import --code METERLINK1:8GC...    the text of the square on a sheet
"""

from __future__ import annotations

import argparse
from pathlib import Path

from meterlink.cli.frame import open_library, option, out
from meterlink.errors import ImportRefused, UsageError
from meterlink.library.code import decode
from meterlink.library.importing import import_document, import_file
from meterlink.library.merge import Added
from meterlink.report.qr import unpacked
from meterlink.words.actions import Do
from meterlink.words.language import say, say_count


def added_text(added: Added) -> str:
    """``1 set-up, 31 readings``, or ``nothing new``, in the language in use; later versions of a set-up or light are changes."""
    changes = max(added.setup_versions - added.setups, 0) + max(added.light_versions - added.lights, 0)
    parts = {
        say_count("{count} set-up", "{count} set-ups", added.setups): added.setups,
        say_count("{count} light", "{count} lights", added.lights): added.lights,
        say_count("{count} change", "{count} changes", changes): changes,
        say_count("{count} placement", "{count} placements", added.placements): added.placements,
        say_count("{count} calibration", "{count} calibrations", added.calibrations): added.calibrations,
        say_count("{count} reading", "{count} readings", added.readings): added.readings,
        say_count("{count} waveform", "{count} waveforms", added.waveforms): added.waveforms,
        say_count("{count} mark", "{count} marks", added.marks): added.marks,
        say_count("{count} note", "{count} notes", added.notes): added.notes,
    }
    return ", ".join(text for text, count in parts.items() if count) or say("nothing new")


OPTIONS = (
    option("file", nargs="?", metavar="FILE", help="JSON document, or another library's file"),
    option("--code", metavar="TEXT", help="text of the square (QR code) on a sheet"),
    option("--show", action="store_true", help="say what it would add, add nothing"),
)


def run(args: argparse.Namespace) -> None:
    """Import."""
    if bool(args.file) == bool(args.code):
        raise UsageError("give either a file or --code TEXT, e.g. {do}", do=Do("import"))
    if args.file and Path(args.file).suffix.lower() == ".csv":
        raise ImportRefused("{file}: CSV holds figures only: import the .json or .sqlite file of the set", file=args.file)
    with open_library(args) as library:
        before = {one.id for one in library.setups()}
        if args.code:
            added = import_document(library, decode(unpacked(args.code)), say("the code"), trial=args.show)
        else:
            added = import_file(library, Path(args.file), trial=args.show)
        out("would add: {records}" if args.show else "added: {records}", records=added_text(added))
        new = [one for one in library.setups() if one.id not in before]
        if len(new) == 1 and library.setup_in_use() is None:
            library.use_setup(new[0].id)
            out("{setup} is in use", setup=new[0].name)
