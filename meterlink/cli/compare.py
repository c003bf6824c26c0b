"""Two set-ups, or two dates of one, side by side: light by light, only what differs.

examples:
  meterlink compare "Low key" "Low key, tall"
  meterlink compare "Low key"                      against the set-up in use
  meterlink compare "Low key" "Low key 2" --json
"""

from __future__ import annotations

from meterlink.cli.frame import add_json_option, open_library, print_json, print_rows

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("first", metavar="SETUP")
    parser.add_argument("second", nargs="?", metavar="SETUP", help="default: the one in use")
    add_json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Print the differences."""
    from meterlink.session import Session
    from meterlink.setwork.compare import compare

    with open_library(args) as library:
        first, second = Session(library, args.first), Session(library, args.second)
        found = compare(first.view(), second.view())
    if args.json:
        print_json([one.as_json() for one in found])
    elif not found:
        print(f"{first.setup.name} and {second.setup.name}: no difference")
    else:
        rows = [(one.light or "camera", one.what, one.first, one.second) for one in found]
        print_rows(("light", "what", first.setup.name, second.setup.name), rows)
    return 0
