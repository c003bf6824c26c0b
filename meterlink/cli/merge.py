"""Unite another library with this one: what either has, this one has afterwards; nothing is changed or doubled.

examples:
  meterlink merge /media/stick/library.sqlite
  meterlink merge other.sqlite --show
"""

from __future__ import annotations

import argparse

from meterlink.cli.frame import open_library, say
from meterlink.library.merge import merge, preview


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("other", metavar="LIBRARY")
    parser.add_argument("--show", action="store_true", help="say what it would add, add nothing")


def run(args: argparse.Namespace) -> int:
    """Merge."""
    with open_library(args) as library:
        print(f"would add: {preview(library, args.other)}" if args.show else f"added: {merge(library, args.other, tell=say)}")
    return 0
