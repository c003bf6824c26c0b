"""Help of a verb on one screen: what it does, examples to copy, the options that fit; ``--help-all`` has every word of it.

The code has it in English (docstrings of the verbs, argparse's ``help``); here, and nowhere else, it is put into the language
in use; ``tests/words/catalogues.py`` finds its texts.
"""

from __future__ import annotations

import argparse
import re
import textwrap
from collections.abc import Iterable, Iterator
from typing import Any

from meterlink.words.language import language, say, say_for, translated

WIDTH, HEIGHT = 80, 24
"""A terminal that nobody enlarged."""
EXAMPLES = 8
"""So many lines of examples stand on one screen; the rest is in ``--help-all``."""
EXAMPLE = re.compile(r"( +meterlink .*?\S {2,})(\S.*)")
"""A command, and what it does."""

# argparse's own messages come from our catalogues too.
setattr(argparse, "_", translated)  # noqa: B010 - a name of argparse that mypy does not know
setattr(argparse, "ngettext", lambda one, many, count: translated(one if count == 1 else many))  # noqa: B010


class HelpAll(argparse.Action):
    """``--help-all``: everything that there is to say of a verb."""

    def __init__(self, **options: Any) -> None:
        super().__init__(**{**options, "nargs": 0, "help": argparse.SUPPRESS})

    def __call__(self, parser: Any, *_: object) -> None:
        """Print it and end."""
        parser.described()
        print(fitted(parser), end="")
        parser.exit()


def parsers_of(parser: argparse.ArgumentParser) -> Iterator[argparse.ArgumentParser]:
    """Yield a parser and those of its actions."""
    yield parser
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            yield from action.choices.values()


def explained(parser: argparse.ArgumentParser) -> Iterator[tuple[argparse.Action, str]]:
    """Yield what help has a line for, and the word that stands for its value; empty where its choices do, or none is given."""
    for one in parsers_of(parser):
        for action in one._actions:
            named = action.nargs == 0 or isinstance(action, argparse._SubParsersAction) or isinstance(action.metavar, tuple)
            yield action, "" if named else str(action.metavar or ("" if action.choices is not None else action.dest.upper()))
            yield from ((each, "") for each in getattr(action, "_choices_actions", ()))


def translate(parser: argparse.ArgumentParser) -> None:
    """Put the lines of a verb's options, and the words that stand for their values, into the language in use."""
    if language() == "en":
        return
    for action, word in explained(parser):
        action.metavar = say_for("placeholder", word) if word else action.metavar
        if action.help and action.help != argparse.SUPPRESS:
            action.help = translated(action.help)


def fitted(parser: argparse.ArgumentParser) -> str:
    """Return the whole help of a verb, broken at words to the width of a terminal."""
    items = [*_head(parser), *_options(parser, whole=True), [""], *map(_broken, parts(parser.epilog or ""))]
    return "\n".join(line for item in items for line in item).rstrip() + "\n"


def one_screen(parser: argparse.ArgumentParser) -> str:
    """Return the help of a verb: whole where it fits one screen, else its beginning and where the rest is."""
    whole = fitted(parser)
    if len(whole.splitlines()) < HEIGHT:
        return whole
    lines = [line for item in _head(parser) for line in item]
    last = ["", say("every option and more: {command} --help-all", command=parser.prog)]
    every = list(map(_broken, parts(parser.epilog or "")))
    examples = every[: every.index([""])] if [""] in every else every
    options = list(_options(parser))
    room = HEIGHT - 1 - len(lines) - len(last)
    # Options come first in the room that there is, but never at the price of the examples.
    shown = _whole_items(examples, max(EXAMPLES + 1, room - 1 - sum(map(len, options))))
    lines += [*shown, ""] if shown else []
    return "\n".join([*lines, *_whole_items(options, HEIGHT - 1 - len(lines) - len(last)), *last]) + "\n"


def _whole_items(items: Iterable[list[str]], room: int) -> list[str]:
    """Return the lines of the first items that have room as a whole."""
    lines: list[str] = []
    for item in items:
        if len(lines) + len(item) > room:
            break
        lines += item
    return lines


def _head(parser: argparse.ArgumentParser) -> Iterator[list[str]]:
    """The verb in one line, with what it must be given and that there are options; then what it does."""
    given = (action for action in parser._actions if not action.option_strings and action.help != argparse.SUPPRESS)
    words = filter(None, map(_value, given))
    usage = " ".join((say("usage:"), parser.prog, *words, say("[options]")))
    yield [*textwrap.wrap(usage, WIDTH, subsequent_indent=" " * 9, break_on_hyphens=False), ""]
    if parser.description:
        yield [*textwrap.wrap(say(parser.description), WIDTH), ""]


def _value(action: argparse.Action) -> str:
    """What is typed for an argument, or behind an option."""
    if isinstance(action.metavar, tuple):
        return " ".join(action.metavar)
    choices = "|".join(map(str, action.choices)) if action.choices is not None else ""
    subparsers = isinstance(action, argparse._SubParsersAction)
    name = choices if subparsers else action.metavar or choices or action.dest.upper()
    return {"*": f"[{name} ...]", "+": f"{name} ...", "?": f"[{name}]", "0": ""}.get(str(action.nargs), name)


def _options(parser: argparse.ArgumentParser, *, whole: bool = False) -> Iterator[list[str]]:
    """What can be given, arguments before options; ``whole``: by all its names, and what explains itself too."""
    for group in parser._action_groups:
        if whole and group.description:
            yield ["", *textwrap.wrap(say(group.description), WIDTH)]
        for action in group._group_actions:
            if isinstance(action, argparse._SubParsersAction):
                yield from (_row(one.dest, one.help or "") for one in action._choices_actions)
            elif action.help != argparse.SUPPRESS and (whole or (action.help and "--help" not in action.option_strings)):
                names = ", ".join(action.option_strings if whole else action.option_strings[-1:])
                yield _row(f"{names} {_value(action)}".strip(), action.help or "")


def _row(name: str, about: str) -> list[str]:
    about = about.replace("%%", "%")
    first = f"  {name:<20}  " if len(name) <= 20 else f"  {name}  "
    return textwrap.wrap(about, WIDTH, initial_indent=first, subsequent_indent=" " * 24, break_long_words=False,
                         break_on_hyphens=False) or [first.rstrip()]  # fmt: skip


def parts(text: str) -> Iterator[tuple[str, str]]:
    """Yield what stands below a verb's summary: an example and what it does; a paragraph or a heading with nothing before it."""
    paragraph: list[str] = []
    for line in [*text.splitlines(), ""]:
        if line and not line.startswith(" ") and not line.endswith(":"):
            paragraph.append(line)
            continue
        if paragraph:
            yield "", " ".join(paragraph)
            paragraph = []
        example = EXAMPLE.fullmatch(line)
        yield (example[1], example[2]) if example else (line, "") if line.startswith(" ") else ("", line)


def _broken(part: tuple[str, str]) -> list[str]:
    """Lines of an example or a paragraph; where both have no room on one line, what an example does goes below it."""
    example, words = part[0], say(part[1]) if part[1] else ""
    if len(example + words) <= WIDTH:
        return [example + words]
    command = example.rstrip()
    if not words or not command or len(command) > WIDTH:
        return textwrap.wrap(
            example + words, WIDTH, subsequent_indent="    " if example else "", break_long_words=False, break_on_hyphens=False
        )
    if len(command) + 2 + len(words) <= WIDTH:
        return [f"{command}  {words}"]
    return [command, *textwrap.wrap(words, WIDTH, initial_indent=" " * 6, subsequent_indent=" " * 6, break_on_hyphens=False)]
