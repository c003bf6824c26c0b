"""The command line says nothing, and helps with nothing, that does not stand in the catalogues."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import catalogues
import pytest
from test_actions import parsed

from meterlink.cli import main
from meterlink.cli.help import HEIGHT, WIDTH, fitted, parsers_of
from meterlink.cli.main import VERBS, build_parser, overview
from meterlink.words.language import translated, use

CLI = Path(main.__file__).parent
WORD = re.compile(r"[A-Za-z]{3,}")
CALIBRATION: set[str] = set()
"""What their walks say is still made in ``calibration/``."""
TYPED = {
    # what is typed, stored or asked of the system: the same in every language
    "all lights", "tab: complete", "targets CARD=-2 BACKDROP=-3", "wave KEY HAIR", " --library ", " --setup ", "calibrating ",
    "file:", "serial:", "?baud=250000", " dBm", "  Bluetooth: ", "lamps ", "fact_", "meterlink.cli.", "meterlink ", "meterlink: ",
}  # fmt: skip
ALIKE = re.compile(r"(\W|\b(?:[A-Z|x0-9]+|[\w/.~]*[/.][\w/.]*|json|csv|sqlite|or|on|off|key|fill|hair|rim|background|other)\b)*")
"""What may stand in a help text and be the same in German."""


def literals(path: Path) -> Iterator[tuple[int, str]]:
    """Yield the texts of a module that a person may come to read: of several words, or a word put together with values.

    Docstrings are the help, as is what argparse gets (asked below), errors are templates; patterns are for programs.
    """
    tree = ast.parse(path.read_text("utf-8"))
    skipped: set[int] = set()
    for node in ast.walk(tree):
        call = node.func if isinstance(node, ast.Call) else None
        name = call.id if isinstance(call, ast.Name) else call.attr if isinstance(call, ast.Attribute) else ""
        docstring = isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
        helps = isinstance(node, ast.keyword) and node.arg == "help"
        if docstring or helps or isinstance(node, ast.Raise | ast.Assert) or name in ("fullmatch", "match", "compile"):
            skipped |= {id(one) for one in ast.walk(node)}
    for node in ast.walk(tree):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.JoinedStr):
            yield from ((node.lineno, str(part.value)) for part in node.values if isinstance(part, ast.Constant))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and " " in node.value.strip():
            yield node.lineno, node.value


@pytest.fixture(scope="module")
def said() -> set[str]:
    """Every text of the catalogues' template."""
    return {text for one in catalogues.everything_said() for text in (one.text, one.many) if text}


@pytest.mark.parametrize("path", sorted(one for one in CLI.glob("*.py") if one.name not in CALIBRATION), ids=lambda path: path.name)
def test_a_verb_prints_only_what_the_catalogues_have(path: Path, said: set[str]) -> None:
    """A text written into a verb without ``out``, ``say`` or a heading of a table would stay English for everyone."""
    found = [
        f"{path.name}:{line}: {text!r}" for line, text in literals(path)
        if WORD.search(text) and text not in said | TYPED and not text.lstrip().startswith("[0-9")
    ]  # fmt: skip

    assert not found


@pytest.mark.parametrize("verb", VERBS)
def test_help_in_german_fits_and_leaves_nothing_in_english(verb: str) -> None:
    """80 columns, one screen, every text in German, for the verb and for each of its actions."""
    texts = [text for context, text in catalogues.texts_of(build_parser(verb)) if context is None and not ALIKE.fullmatch(text)]
    use("de")
    for parser in parsers_of(build_parser(verb)):
        shown, whole = parser.format_help().splitlines(), fitted(parser).splitlines()
        assert whole[0].startswith("Aufruf: "), parser.prog
        assert max(map(len, whole)) <= WIDTH, parser.prog
        assert max(map(len, shown)) <= WIDTH, parser.prog
        assert len(shown) < HEIGHT, parser.prog
        assert any(line.startswith(f"  {parser.prog}") for line in shown), parser.prog
    assert not [text for text in texts if translated(text) == text]


@pytest.mark.parametrize("language", ["en", "de"])
def test_commands_named_in_help_are_taken(language: str) -> None:
    """A command in a paragraph parses, in either language, and a translation names the same options and commands."""
    texts = {text for verb in VERBS for _, text in catalogues.texts_of(build_parser(verb))}
    verb = "(?:" + "|".join(VERBS) + r")\b"
    names = re.compile(rf"(?<!\w)--[a-z][a-z-]*|meterlink {verb}|METERLINK_\w+|\.[a-z]{{3,}}\b")
    use(language)
    commands = set()
    for text in texts:
        there = translated(text)
        assert sorted(set(names.findall(there))) == sorted(set(names.findall(text))), there
        commands |= set(re.findall(rf"'((?:meterlink )?{verb} [^']*)'", there))
        commands |= {re.split(r"  | \(|'|, |\.(?: |$)|;", one)[0] for one in re.findall(rf"meterlink {verb}.*", there)}
    assert len(commands) > 5
    for command in commands:
        parsed(command if command.startswith("meterlink ") else f"meterlink {command}")


def test_the_list_of_verbs_fits_in_german() -> None:
    """80 columns, each verb on one line."""
    use("de")

    assert max(map(len, overview().splitlines())) <= WIDTH
    assert all(re.search(rf"^  {verb}\s+\S", overview(), re.MULTILINE) for verb in VERBS)


def test_a_refusal_of_the_parser_is_german(capsys: pytest.CaptureFixture[str]) -> None:
    """What argparse has to say comes from the catalogue too."""
    use("de")
    for words, told in (
        (["meter", "--frob"], "unbekannte Argumente: --frob"), (["store", "copy"], "meterlink: ZIEL fehlt: siehe"),
        (["meter", "--aim", "x"], "'x' gibt es hier nicht, nur light"), (["meter", "--pops", "x"], "'x' ist kein Wert"),
        (["light", "add", "--role"], "ein Wert muss folgen"), (["rations"], "ist 'ratios' gemeint?"),
    ):  # fmt: skip
        assert main.main(words) == 2
        assert told in capsys.readouterr().err
