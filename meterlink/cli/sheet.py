"""One page to print or keep: plan and side view, camera, lights, readings, ratios, checks, a list for the rebuild.

examples:
  meterlink sheet                        writes NAME.html into the present folder
  meterlink sheet -o lowkey.html
  meterlink sheet --plan plan.png        only the plan from above, as .png or .svg

The page needs no network, prints on one or two sheets of A4 or Letter and reads on a phone; its QR code carries the set-up.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from meterlink.cli.frame import SETUP_BY_NAME, open_set, option, out
from meterlink.errors import UsageError
from meterlink.library.files import file_name, write_whole
from meterlink.metering.opened_set import OpenedSet
from meterlink.report.page import sheet_html
from meterlink.report.plan import plan, side
from meterlink.report.qr import square_of

PAGES = ("", ".html", ".htm")
"""Endings of a file that a page may be written to."""
OPTIONS = (
    option("-o", "--output", metavar="FILE", help="HTML file to write"),
    option("--plan", metavar="FILE", help="write the plan from above as .png or .svg"),
    option("--side", metavar="FILE", help="write the side view as .png or .svg"),
    *SETUP_BY_NAME,
)


def run(args: argparse.Namespace) -> None:
    """Write the sheet."""
    with open_set(args, OpenedSet) as session:
        view = session.view()
        for path, draw in ((args.plan, plan), (args.side, side)):
            if path:
                draw(view).write(path)
                print(path)
        if (args.plan or args.side) and not args.output:
            return
        if args.output and Path(args.output).suffix.lower() not in PAGES:
            raise UsageError(
                "{file}: a sheet is an HTML page; write {page}, open it in a browser and print it, or save it as PDF there",
                file=args.output, page=Path(args.output).with_suffix(".html").name,
            )
        target = Path(args.output or file_name(view.setup.name, view.setup.id, ".html"))
        square, carries = square_of(session.library, session.setup.id)
        found, answers = session.looked_at()
        html = sheet_html(view, found, square, carries, answers=answers)
        write_whole(target, html.encode())
        out(
            "{page}: open it in a browser and print" if square
            else "{page}: open it in a browser and print; the set-up is too large for a QR code", page=target,
        )  # fmt: skip
