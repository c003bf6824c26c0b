"""What is not as it should be in the set, worst first, each with what to do.

examples:
  meterlink checks
  meterlink checks --json          with the numbers behind every finding

It compares the readings with each other (all lights together against the sum of each, see 'meter --together'), with
what each light gave before, and looks at distances, evenness, room light, flash duration and colour.
"""

from __future__ import annotations

import argparse

from meterlink.cli.frame import add_json_option, add_setup_option, is_terminal, open_session, print_json, wrapped

MARKS = {3: "wrong", 2: "doubtful", 1: "caution", 0: "note"}


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    add_setup_option(parser)
    add_json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Print the findings."""
    session = open_session(args)
    with session.library:
        found = session.checks()
    if args.json:
        print_json([finding.as_json() for finding in found])
        return 0
    if not found:
        print(f"{session.setup.name}: nothing to object to")
    bold, plain = ("\033[1m", "\033[0m") if is_terminal() else ("", "")
    for finding in found:
        print(wrapped(f"{bold}{MARKS[int(finding.rank)]:<9}{plain}{finding.text}", " " * 9))
        print(wrapped(f"         → {finding.advice}", " " * 11))
    return 0
