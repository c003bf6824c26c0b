"""Unite this library with a studio's shared one in PostgreSQL, both ways; interrupted anywhere, it goes on the next time.

examples:
  meterlink sync postgresql://studio@192.0.2.7/meterlink

Needs the extra 'sync' (pip install 'meterlink[sync]').  Metering never waits for it and works without any network.
"""

from __future__ import annotations

import argparse

from meterlink.cli.frame import open_library, say
from meterlink.library.sync import sync


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("url", metavar="URL", help="postgresql://USER@HOST/DATABASE")


def run(args: argparse.Namespace) -> int:
    """Sync."""
    with open_library(args) as library:
        result = sync(library, args.url, say)
        print(result)
    return 0
