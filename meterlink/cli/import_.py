"""Take set-ups from a file that meterlink (or another program) wrote; checked first, all or nothing.

examples:
  meterlink import lowkey.json
  meterlink import lowkey.json --show          only say what it would add
  meterlink import --code METERLINK1:8GC...    the text of the square on a sheet
"""

from __future__ import annotations

import argparse
from pathlib import Path

from meterlink.cli.frame import open_library
from meterlink.errors import UsageError
from meterlink.library.code import decode
from meterlink.library.importing import import_document, import_file, preview_file
from meterlink.report.qr import unpacked
from meterlink.words.actions import Do


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("file", nargs="?", metavar="FILE", help="JSON document, or another library's file")
    parser.add_argument("--code", metavar="TEXT", help="text of the square (QR code) on a sheet")
    parser.add_argument("--show", action="store_true", help="say what it would add, add nothing")


def run(args: argparse.Namespace) -> int:
    """Import."""
    if bool(args.file) == bool(args.code):
        raise UsageError("give either a file or --code TEXT, e.g. {do}", do=Do("import"))
    with open_library(args) as library:
        if args.code:
            added = import_document(library, decode(unpacked(args.code)), "the code")
            print(f"added: {added}")
        elif args.show:
            print(f"would add: {preview_file(library, Path(args.file))}")
        else:
            print(f"would add: {preview_file(library, Path(args.file))}")
            print(f"added: {import_file(library, Path(args.file))}")
    return 0
