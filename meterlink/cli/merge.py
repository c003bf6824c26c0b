"""Unite another library with this one: what either has, this one has afterwards; nothing is changed or doubled.

examples:
  meterlink merge /media/stick/library.sqlite
  meterlink merge other.sqlite --show
"""

from __future__ import annotations

import argparse
from pathlib import Path

from meterlink.cli.frame import beside, open_library, option, out
from meterlink.cli.import_ import added_text
from meterlink.errors import UsageError
from meterlink.library.merge import merge, preview
from meterlink.words.actions import Do

OPTIONS = (
    option("other", metavar="LIBRARY"),
    option("--show", action="store_true", help="say what it would add, add nothing"),
)


def run(args: argparse.Namespace) -> None:
    """Merge."""
    if Path(args.other).suffix.lower() == ".json":
        raise UsageError("{file} is a document, not a library: {do}", file=args.other, do=Do("import", file=args.other))
    with open_library(args) as library:
        if args.show:
            out("would add: {records}", records=added_text(preview(library, args.other)))
        else:
            out("added: {records}", records=added_text(merge(library, args.other, tell=beside)))
