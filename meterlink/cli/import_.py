"""Take set-ups from a file that meterlink (or another program) wrote; checked first, all or nothing.

examples:
  meterlink import lowkey.json
  meterlink import lowkey.json --show          only say what it would add
  meterlink import --code METERLINK1:8GC...    the text of the square on a sheet
"""

from __future__ import annotations

import argparse
from pathlib import Path

from meterlink.cli.frame import open_library, out
from meterlink.errors import ImportRefused, UsageError
from meterlink.library.code import decode
from meterlink.library.importing import import_document, import_file, preview_file
from meterlink.library.merge import Added
from meterlink.report.qr import unpacked
from meterlink.words.actions import Do
from meterlink.words.language import say, say_for


def added_text(added: Added) -> str:
    """``2 setups, 31 readings``, or ``nothing new``, in the language in use."""
    counts = [(n, say_for("records", field.replace("_", " "))) for field, n in added._asdict().items() if n]
    parts = [say("{count} {records}", count=n, records=what) for n, what in counts]
    return ", ".join(parts) or say("nothing new")


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("file", nargs="?", metavar="FILE", help="JSON document, or another library's file")
    parser.add_argument("--code", metavar="TEXT", help="text of the square (QR code) on a sheet")
    parser.add_argument("--show", action="store_true", help="say what it would add, add nothing")


def run(args: argparse.Namespace) -> None:
    """Import."""
    if bool(args.file) == bool(args.code):
        raise UsageError("give either a file or --code TEXT, e.g. {do}", do=Do("import"))
    if args.file and Path(args.file).suffix.lower() == ".csv":
        raise ImportRefused("{file}: CSV holds figures only: import the .json or .sqlite file of the set", file=args.file)
    with open_library(args) as library:
        if args.file and args.show:
            out("would add: {records}", records=added_text(preview_file(library, Path(args.file))))
            return
        before = {one.id for one in library.setups()}
        if args.code:
            added = import_document(library, decode(unpacked(args.code)), say("the code"))
        else:
            added = import_file(library, Path(args.file))
        out("added: {records}", records=added_text(added))
        new = [one for one in library.setups() if one.id not in before]
        if len(new) == 1 and library.setup_in_use() is None:
            library.use_setup(new[0].id)
            out("{setup} is in use", setup=new[0].name)
