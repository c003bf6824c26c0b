"""Help of a verb on one screen: what it does, examples to copy, the options that fit; ``--help-all`` has every word of it."""

from __future__ import annotations

import argparse
import re
import textwrap
from collections.abc import Iterator
from typing import Any

from meterlink.words.language import say

WIDTH, HEIGHT = 80, 24
"""A terminal that nobody enlarged."""
EXAMPLES = 8
"""So many lines of examples stand on one screen; the rest is in ``--help-all``."""


class HelpAll(argparse.Action):
    """``--help-all``: everything that there is to say of a verb."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**{**options, "nargs": 0, "help": argparse.SUPPRESS})

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        """Print it and end."""
        describe = getattr(parser, "described", None)
        if describe is not None:
            describe()
        print(fitted(parser), end="")
        parser.exit()


def fitted(parser: argparse.ArgumentParser) -> str:
    """Return the whole help of a verb, broken at words to the width of a terminal."""
    lines = list(_usage(parser))
    if parser.description:
        lines += [*textwrap.wrap(say(parser.description), WIDTH), ""]
    formatter = parser._get_formatter()
    for group in parser._action_groups:
        formatter.start_section(group.title)
        formatter.add_arguments(group._group_actions)
        formatter.end_section()
    lines += [line for text in formatter.format_help().splitlines() for line in _wrapped(text)]
    if parser.epilog:
        lines += ["", *_epilog(parser.epilog)]
    return "\n".join(lines).rstrip() + "\n"


def one_screen(parser: argparse.ArgumentParser) -> str:
    """Return the help of a verb: whole where it fits one screen, else its beginning and where the rest is."""
    whole = fitted(parser)
    if len(whole.splitlines()) < HEIGHT:
        return whole
    head = list(_usage(parser))
    if parser.description:
        head += [*textwrap.wrap(say(parser.description), WIDTH), ""]
    last = ["", say("every option and more: {command} --help-all", command=parser.prog)]
    epilog = list(_epilog(parser.epilog or ""))
    examples = epilog[: epilog.index("")] if "" in epilog else epilog
    options = list(_options(parser))
    room = HEIGHT - 1 - len(head) - len(last) - 1
    # Options come first in the room that there is, but never at the price of the examples.
    shown = min(len(examples), max(EXAMPLES + 1, room - len(options)))
    head += examples[:shown] + ([""] if shown else [])
    room = HEIGHT - 1 - len(head) - len(last)
    return "\n".join([*head, *options[:room], *last]) + "\n"


def _usage(parser: argparse.ArgumentParser) -> Iterator[str]:
    """One line: the verb, what it must be given, and that there are options."""
    given = (action for action in parser._actions if not action.option_strings and action.help != argparse.SUPPRESS)
    words = filter(None, map(_argument, given))
    yield from textwrap.wrap(" ".join(("usage:", parser.prog, *words, "[options]")), WIDTH, subsequent_indent=" " * 9)
    yield ""


def _argument(action: argparse.Action) -> str:
    if isinstance(action, argparse._SubParsersAction):
        return "|".join(action.choices)
    name = action.metavar if isinstance(action.metavar, str) else action.dest.upper()
    return {"*": f"[{name} ...]", "+": f"{name} ...", "?": f"[{name}]"}.get(str(action.nargs), name)


def _options(parser: argparse.ArgumentParser) -> Iterator[str]:
    """What can be given, a line each, arguments before options, in the order in which they were declared."""
    ordered = sorted(parser._actions, key=lambda action: bool(action.option_strings))
    for action in ordered:
        if isinstance(action, argparse._SubParsersAction):
            for one in action._choices_actions:
                yield from _row(one.dest, one.help or "")
        elif action.help and action.help != argparse.SUPPRESS and "--help" not in action.option_strings:
            names = action.option_strings[-1:] or [_argument(action)]
            value = "" if action.nargs == 0 or not action.option_strings else f" {_value(action)}"
            yield from _row(names[0] + value, action.help)


def _value(action: argparse.Action) -> str:
    if action.choices is not None:
        return "|".join(map(str, action.choices))
    return action.metavar if isinstance(action.metavar, str) else action.dest.upper()


def _row(name: str, about: str) -> list[str]:
    about = say(about.replace("%%", "%"))
    first = f"  {name:<20}  " if len(name) <= 20 else f"  {name}  "
    return textwrap.wrap(about, WIDTH, initial_indent=first, subsequent_indent=" " * 24, break_long_words=False) or [first.rstrip()]


def _epilog(text: str) -> Iterator[str]:
    """Examples and paragraphs; a line that is too wide is broken at a word, what an example does goes below it."""
    paragraph: list[str] = []
    for line in [*text.splitlines(), ""]:
        if line and not line.startswith(" ") and not line.endswith(":"):
            paragraph.append(line)
            continue
        if paragraph:
            yield from textwrap.wrap(" ".join(paragraph), WIDTH, break_long_words=False, break_on_hyphens=False)
            paragraph = []
        yield from _wrapped(line)


def _wrapped(line: str) -> list[str]:
    if len(line) <= WIDTH:
        return [line]
    indent = re.match(r" *", line)[0]  # type: ignore[index]
    example = re.match(r"( +meterlink .*?\S) {2,}(\S.*)", line)
    if example and len(example[1]) <= WIDTH:
        joined = f"{example[1]}  {example[2]}"
        return [joined] if len(joined) <= WIDTH else [example[1], *textwrap.wrap(example[2], WIDTH, initial_indent=indent + "    ",
                                                                                subsequent_indent=indent + "    ")]
    return textwrap.wrap(line, WIDTH, subsequent_indent=indent + "  ", break_long_words=False, break_on_hyphens=False)
