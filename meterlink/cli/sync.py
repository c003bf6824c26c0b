"""Unite this library with a studio's shared one in PostgreSQL, both ways; interrupted anywhere, it goes on the next time.

examples:
  meterlink sync postgresql://studio@192.0.2.7/meterlink
  meterlink sync postgresql://studio@db.example/work --studio "North light"    several studios in one database
  meterlink sync "postgresql:///?service=studio"                               host, user ... from your service file
  PGPASSWORD=... meterlink sync postgresql://studio@192.0.2.7/meterlink

Give the password by the environment variable PGPASSWORD, in the file ~/.pgpass or in a service file
(~/.pg_service.conf), not in the URL: other users of the machine can read a command line.  The way to another machine is
encrypted, or refused, unless the URL or the service file says otherwise (?sslmode=disable).  Needs the extra 'sync'
(in meterlink's own folder: pip install '.[sync]').  Metering never waits for it and works without any network.
"""

from __future__ import annotations

import argparse

from meterlink.cli.frame import beside, open_library, option, out
from meterlink.cli.import_ import added_text
from meterlink.library.sync import sync
from meterlink.words.language import say_count

OPTIONS = (
    option("url", metavar="URL", help="postgresql://USER@HOST/DATABASE"),
    option("--studio", metavar="NAME", default="", help="the studio's name, where a database serves several"),
)


def run(args: argparse.Namespace) -> None:
    """Sync."""
    with open_library(args) as library:
        result = sync(library, args.url, beside, studio=args.studio)
        sent = say_count("{count} record", "{count} records", result.sent)
        out("sent: {sent}; added here: {records}", sent=sent, records=added_text(result.fetched))
