"""What is not as it should be in the set, worst first, each with what to do.

examples:
  meterlink checks
  meterlink checks --json          with the numbers behind every finding

It compares the readings with each other (all lights together against the sum of each, see 'meter --together'), with
what each light gave before, and looks at distances, evenness, room light, flash duration and colour.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from meterlink.checks.findings import Finding
from meterlink.cli.frame import JSON, SETUP_BY_NAME, hanging, open_set, print_json
from meterlink.cli.terminal import BOLD, PLAIN, is_terminal
from meterlink.metering.opened_set import OpenedSet
from meterlink.words.actions import Do
from meterlink.words.language import say, say_count
from meterlink.words.shared import RANKS, finding_lines

WIDTH = 9
"""Columns of the mark in front."""
OPTIONS = (*SETUP_BY_NAME, JSON)


def run(args: argparse.Namespace) -> None:
    """Print the findings, and what was looked at and is well."""
    with open_set(args, OpenedSet) as session:
        found, well = session.looked_at()
        setup, lights = session.setup, session.lights()
    if args.json:
        print_json([*found, *well])
        return
    if not lights:
        print(say("{setup}: no lights yet: {do}", setup=setup.name, do=Do("add_light")))
    elif not found:
        print(say("{setup}: nothing to object to", setup=setup.name))
    for line in finding_lines([*found, *well]):
        mark = say(RANKS[int(line.rank)]) + " "
        text = hanging(f"{mark:<{WIDTH}}{line.said}", " " * WIDTH)
        print(f"{BOLD}{text[:WIDTH]}{PLAIN}{text[WIDTH:]}" if is_terminal() else text)
        if line.to_do:
            print(hanging(f"{'':{WIDTH}}→ {line.to_do}", " " * (WIDTH + 2)))


def count_line(found: Sequence[Finding]) -> str:
    """Return what the checks have to say in one line, ``2 cautions: meterlink checks``; empty when they found nothing of weight."""
    ranks = [int(line.rank) for line in finding_lines(found)]
    wrong, doubts, cautions = (ranks.count(rank) for rank in (3, 2, 1))
    said = [say_count("{count} thing wrong", "{count} things wrong", wrong)] if wrong else []
    said += [say_count("{count} doubt", "{count} doubts", doubts)] if doubts else []
    said += [say_count("{count} caution", "{count} cautions", cautions)] if cautions else []
    return say("{what}: {do}", what=", ".join(said), do=Do("checks")) if said else ""
