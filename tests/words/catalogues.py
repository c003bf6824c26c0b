"""Bring the message catalogues up to date with the code: ``python tests/words/catalogues.py`` (Babel, for development only).

What is said stands in the code in English: in the tables of ``words``, in the arguments of ``say``, ``marked`` and their kin and
of every error, in the headings of ``print_rows``, in the help of every verb and in argparse.  This finds it there, puts new texts
into each language's ``.po`` (empty: to be translated), drops what is no longer said, and compiles the ``.mo`` that is shipped.
``tests/words/test_catalogues.py`` holds them to each other.
"""

from __future__ import annotations

import argparse
import ast
import inspect
import io
import re
import string
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from jinja2 import Environment
from jinja2.ext import extract_from_ast

from meterlink import demo, errors
from meterlink.checks.facts import MOVEMENTS
from meterlink.cli.facts import OPTIONS
from meterlink.cli.help import explained, parsers_of, parts
from meterlink.cli.main import VERBS, build_parser
from meterlink.cli.ratios import HEADINGS
from meterlink.library.backup import DAMAGED, REASONS
from meterlink.library.kit import HEAD, MODIFIER
from meterlink.records.kept import FACE, OWN_POINT_ROLES, RECEPTORS, ROLES
from meterlink.sensor.dialects.messages import MAX_RANGES, range_names
from meterlink.sensor.find import BUSY, NO_SENSOR, REFUSED
from meterlink.simulation.chip_model import SIMULATED
from meterlink.tables.compare import key_words
from meterlink.units.reading import _SIDES, POWER_WORDS
from meterlink.words.actions import ACTIONS
from meterlink.words.language import CATALOGUES, DOMAIN, NAMES, use
from meterlink.words.phrases import calibration, checks, faults, judging, library, measuring, metering, steps, tables
from mobile import texts

ROOT = Path(__file__).parents[2]
FOLDERS = ("meterlink", "mobile")
ERRORS = frozenset(name for name, kind in inspect.getmembers(errors, inspect.isclass) if issubclass(kind, errors._Said))
SAYS = ERRORS | {"say", "marked", "translated", "put", "out", "aside"}
SPEAKERS = ("meterlink.words.language", "meterlink.words.told", "meterlink.cli.frame")
"""Modules that those come from; another ``say`` of somebody's own is not meant."""
WORDS_OF = {
    "_unreadable": (0, 2, 3), "_clean": (1, 2), "_matched": (2, 3), "_time_s": (1, 2), "_ambiguous": (0,), "_unknown": (0,),
    "parse_length": (1,), "parse_distance": (1,), "parse_stops": (1,), "parse_size": (1,), "parse_angle": (1,),
    "parse_time": (1,), "checked_name": (1,), "checked": (2,), "_checked_text": (2,), "json_text": (1,),
}  # fmt: skip
"""Functions whose arguments become a part of a sentence, by the numbers of those arguments."""
ARGPARSE = (
    "show this help message and exit", "argument %(argument_name)s: %(message)s", "the following arguments are required: %s",
    "unrecognized arguments: %s", "invalid %(type)s value: %(value)r",
    "expected one argument", "expected at least one argument", "expected at most one argument", "expected %s arguments",
    "not allowed with argument %s", "ignored explicit argument %r",
)  # fmt: skip
"""What argparse has to say of our verbs."""
LANGUAGES = tuple(code for code in NAMES if code != "en")
PHRASES = (calibration, checks, faults, judging, library, measuring, metering, steps, tables)
TABLES = {
    "meterlink/words/actions.py": [text for words in ACTIONS.values() for text in (words.plain, words.touch)],
    **{f"meterlink/words/phrases/{one.__name__.rpartition('.')[2]}.py": one.PHRASES.values() for one in PHRASES},
    "meterlink/words/phrases/faults.py": [*faults.FAULTS, *faults.PHRASES.values()],
}
"""Modules that are tables of texts: everything in them with a word beside its places is translated."""
NAMED = {
    "role": ("words/told", ROLES), "receptor": ("words/told", RECEPTORS), "movement": ("words/told", MOVEMENTS),
    "point": ("words/told", (FACE, *OWN_POINT_ROLES, "hands", "feet")),
    "method": ("words/phrases/calibration", ("assumed", "relative", "reference", "guide number", "camera")),
    "backup": ("library/backup", (*REASONS, DAMAGED)), "piece": ("library/kit", (HEAD, MODIFIER)),
    "direction": ("units/reading", _SIDES), "power": ("units/reading", (*POWER_WORDS,)),
    "port": ("sensor/find", (BUSY, NO_SENSOR, REFUSED)), "level": ("cli/store", ("damage", "notice")),
    "column": ("cli/ratios", HEADINGS), "range": ("sensor/dialects/messages", (*range_names(1), *range_names(MAX_RANGES))),
    "sensor": ("simulation/chip_model", (SIMULATED,)),
}  # fmt: skip
"""Context of names that stand in a record or table -> the module that they are said for, and the names that there are."""
_PLACE = re.compile(r"\{[^}]*\}")


class Said(NamedTuple):
    """One text of the code, in English."""

    place: str
    text: str
    many: str | None = None
    context: str | None = None


class NotATemplate(ValueError):
    """A text that is put together before it could be translated."""


def texts_of(parser: argparse.ArgumentParser) -> Iterator[tuple[str | None, str]]:
    """Yield the texts of a verb's help, in English, each with its context."""
    for one in parsers_of(parser):
        getattr(one, "described")()  # noqa: B009 - every parser of ours has it
        for text in (one.description, *(group.description for group in one._action_groups)):
            yield None, text or ""
        yield from ((None, words) for _, words in parts(one.epilog or ""))
    for action, word in explained(parser):
        yield None, "" if action.help in (None, argparse.SUPPRESS) else str(action.help)
        yield "placeholder", word


def said_in(path: Path) -> Iterator[Said]:
    """Yield what a module says.  Raises ``NotATemplate`` for an f-string or a sum of texts where a template belongs."""
    place = path.relative_to(ROOT).as_posix()
    tree = ast.parse(path.read_text("utf-8"))
    if place == "mobile/texts.py":
        yield from (Said(place, text, None, key) for key, text in texts.EN.items())
    yield from (Said(place, text) for text in TABLES.get(place, ()) if re.search(r"[^\W\d_]{2}", _PLACE.sub("", text)))
    for context, (module, names) in NAMED.items():
        yield from (Said(place, name, None, context) for name in names if place == f"meterlink/{module}.py")
    ours = ERRORS | _imported(tree)
    for node in ast.walk(tree):
        yield from (Said(place, text) for text in _parts(node, place))
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name) or not node.args:
            continue
        name, args = node.func.id, node.args
        if name == "print_rows":
            columns = getattr(args[0], "elts", [])
            yield from (Said(place, text, None, "column") for column in columns for text in _texts(column, place))
        if name not in ours:
            continue
        if name in SAYS:
            yield from (Said(place, text) for text in _texts(args[0], place))
        elif name == "say_count":
            yield from (Said(place, a, b) for a, b in zip(_texts(args[0], place), _texts(args[1], place), strict=True))
        elif name == "say_for":
            for context in _texts(args[0], place):
                yield from (Said(place, text, None, context) for text in _texts(args[1], place))


def _parts(node: ast.AST, place: str) -> Iterator[str]:
    """Words that a function of ``WORDS_OF`` puts into its sentence: from its calls, and from its own defaults."""
    if isinstance(node, ast.FunctionDef) and node.name in WORDS_OF:
        for argument, usual in zip(reversed(node.args.args), reversed(node.args.defaults), strict=False):
            if argument.arg in ("what", "why", "accepted"):
                yield from _texts(usual, place)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name | ast.Attribute):
        name = node.func.id if isinstance(node.func, ast.Name) else node.func.attr
        for number in WORDS_OF.get(name, ()):
            if number < len(node.args) and not isinstance(node.args[number], ast.Call):
                yield from _texts(node.args[number], place)


def _imported(tree: ast.Module) -> set[str]:
    """What a module takes from the language."""
    if any(isinstance(node, ast.FunctionDef) and node.name == "say_for" for node in tree.body):
        return {"say", "marked", "translated", "say_for", "say_count"}
    froms = [node for node in tree.body if isinstance(node, ast.ImportFrom) and node.module in SPEAKERS]
    return {alias.name for node in froms for alias in node.names}


def _texts(node: ast.expr, place: str) -> Iterator[str]:
    """The literal texts that an argument may be; none for a variable, whose texts are marked where they stand."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        if node.value:
            yield node.value
    elif isinstance(node, ast.IfExp):
        yield from _texts(node.body, place)
        yield from _texts(node.orelse, place)
    elif isinstance(node, ast.JoinedStr | ast.BinOp) or (
        isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "str"
    ):
        raise NotATemplate(f"{place}:{node.lineno}: {ast.unparse(node)[:60]}")


def said_in_help() -> Iterator[Said]:
    """Yield what the help of the verbs says, and argparse when it refuses something."""
    use("en")
    for verb, (module, line) in VERBS.items():
        place = f"meterlink/cli/{module}.py"
        yield Said("meterlink/cli/main.py", line)
        yield from (Said(place, text, None, context) for context, text in texts_of(build_parser(verb)) if text)
    yield from (Said("argparse", text) for text in ARGPARSE)
    yield from (Said("meterlink/cli/facts.py", key_words(key)) for _, key, *_ in OPTIONS)
    yield from (Said("meterlink/demo.py", step["say"]) for step in demo.script()["steps"] if "say" in step)


def everything_said() -> list[Said]:
    """What the package and the app say, file by file."""
    paths = sorted(path for folder in FOLDERS for path in (ROOT / folder).rglob("*.py"))
    return [*(said for path in paths for said in said_in(path)), *said_in_help(), *said_on_the_sheet()]


def said_on_the_sheet() -> Iterator[Said]:
    """Yield what the printed page's template says itself."""
    page = ROOT / "meterlink" / "report" / "sheet.html"
    tree = Environment().parse(page.read_text("utf-8"))
    for _, name, text in extract_from_ast(tree, ("say", "column")):
        english = text if isinstance(text, str) else str(text[0])
        yield Said("meterlink/report/sheet.html", english, None, "column" if name == "column" else None)


def template() -> Catalog:
    """The catalogue of the code, nothing translated."""
    catalogue = Catalog(project="meterlink", charset="utf-8")
    for said in everything_said():
        catalogue.add((said.text, said.many) if said.many else said.text, context=said.context, locations=[(said.place, 1)])
    return catalogue


def path_of(language: str, ending: str) -> Path:
    """Where a language's catalogue stands."""
    return CATALOGUES / language / "LC_MESSAGES" / f"{DOMAIN}.{ending}"


def stored(language: str) -> Catalog:
    """Return a language's catalogue as it is stored; an empty one when there is none yet."""
    path = path_of(language, "po")
    if not path.exists():
        return Catalog(locale=language)
    with path.open("rb") as file:
        return read_po(file, locale=language)


def compiled(catalogue: Catalog) -> bytes:
    """Return the catalogue as gettext reads it."""
    out = io.BytesIO()
    write_mo(out, catalogue)
    return out.getvalue()


def fields(text: str) -> set[str]:
    """Names of the places for values in a template."""
    return {name.partition(".")[0] for _, name, _, _ in string.Formatter().parse(text) if name is not None}


def update(language: str) -> Catalog:
    """Bring one language's files up to date with the code and return its catalogue."""
    catalogue = stored(language)
    # Nothing is guessed from similar texts: a sentence that is nearly right is wrong.
    catalogue.update(template(), no_fuzzy_matching=True)
    catalogue.obsolete.clear()
    catalogue.fuzzy = False
    catalogue.project, catalogue.header_comment = "meterlink", f"# meterlink's sentences: {NAMES[language]}."
    catalogue.creation_date = catalogue.revision_date = datetime(2026, 1, 1, tzinfo=UTC)  # files change with their texts only
    path_of(language, "po").parent.mkdir(parents=True, exist_ok=True)
    with path_of(language, "po").open("wb") as file:
        write_po(file, catalogue, width=120, include_lineno=False)
    path_of(language, "mo").write_bytes(compiled(catalogue))
    return catalogue


if __name__ == "__main__":
    for code in LANGUAGES:
        messages = [message for message in update(code) if message.id]
        empty = [message.id for message in messages if not message.string or not all(message.string)]
        print(f"{code}: {len(messages)} messages, {len(empty)} not translated")
        for each in empty:
            print(f"  {each!r}")
