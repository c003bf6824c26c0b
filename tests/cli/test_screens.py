"""What stands on a terminal of 80 columns and 24 lines: help on one screen, tables and sentences that are never cut."""

from __future__ import annotations

import argparse
import io
import json
import re
from collections.abc import Iterator

import pytest

from meterlink.cli import frame, terminal
from meterlink.cli.help import HEIGHT, WIDTH, fitted
from meterlink.cli.main import VERBS, build_parser


class Screen(io.StringIO):
    """A terminal."""

    def isatty(self) -> bool:
        """It is one."""
        return True


def parsers() -> Iterator[tuple[str, argparse.ArgumentParser]]:
    """Every verb, and every action of a verb."""
    for verb in VERBS:
        parser = build_parser(verb)
        yield verb, parser
        for action in parser._actions:
            if isinstance(action, argparse._SubParsersAction):
                yield from ((f"{verb} {name}", each) for name, each in action.choices.items())


@pytest.mark.parametrize(("name", "parser"), [pytest.param(name, parser, id=name) for name, parser in parsers()])
def test_help_fits_one_screen_and_has_an_example(name: str, parser: argparse.ArgumentParser) -> None:
    """24 lines of 80 columns; where more is to be said, the last line says how to see it, and that has every option."""
    shown = parser.format_help().splitlines()

    assert len(shown) < HEIGHT
    assert max(map(len, shown)) <= WIDTH
    assert any(line.startswith(f"  {parser.prog}") for line in shown), name
    everything = fitted(parser)
    assert max(map(len, everything.splitlines())) <= WIDTH
    assert all(one in everything for action in parser._actions for one in action.option_strings if action.help != argparse.SUPPRESS)


@pytest.fixture
def narrow(monkeypatch: pytest.MonkeyPatch) -> None:
    """A person looks, at 80 columns."""
    monkeypatch.setattr(frame, "is_terminal", lambda: True)
    monkeypatch.setattr(terminal, "terminal_width", lambda: 80)
    monkeypatch.setattr(frame, "terminal_width", lambda: 80)


@pytest.mark.usefixtures("narrow")
def test_a_table_keeps_name_and_value_and_puts_long_texts_under_the_row(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is cut: what does not fit beside the others stands below, broken at words."""
    long = "turn the dial of KEY to 1/4 and fire it again, or say where it stands, then see the table again and again"
    frame.print_rows(("light", "change", "what to do"), [("KEY", "+0.3", long), ("FILL", "0.0", "leave it")], right="lrl")

    lines = re.sub("\033\\[[0-9;]*m", "", capsys.readouterr().out).splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[1].split() == ["KEY", "+0.3"]
    assert " ".join(" ".join(lines).split()).count(long) == 1


@pytest.mark.usefixtures("narrow")
def test_a_column_without_a_heading_leaves_no_colon_under_its_row(capsys: pytest.CaptureFixture[str]) -> None:
    """A mark that does not fit beside the others stands below by itself: there is no name to put before it."""
    mark = "differs (has 'a very long gel, cut from the roll by hand, and another one' on it)"
    frame.print_rows(("light", "CCT", ""), [("HAIR", "3928 K", mark)])

    assert capsys.readouterr().out.splitlines()[2].strip().startswith("differs")


def test_a_number_stays_with_its_unit() -> None:
    """A line is broken before ``−0.1 ± 0.1`` and ``20 cm``, not within."""
    said = terminal.broken("HAIR: dome held off in front of the hair reads a little hot, corrected by −0.1 ± 0.1 stop", "    ", 78)

    assert "−0.1 ± 0.1 stop" in said
    assert max(map(len, said.splitlines())) <= 78


def test_a_terminal_breaks_lines_at_words_and_a_pipe_does_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """What any verb prints is broken at words for a person; a program gets the line as it is."""
    monkeypatch.setattr(terminal, "terminal_width", lambda: 40)
    line = "note: every reading comes from a recording of the real firmware\n"

    seen, piped = Screen(), io.StringIO()
    terminal.CleanStream(seen).write(line)
    terminal.CleanStream(piped).write(line)

    assert max(map(len, seen.getvalue().splitlines())) <= 40
    assert " ".join(seen.getvalue().split()) == line.strip()
    assert piped.getvalue() == line


def test_a_live_line_never_becomes_two(monkeypatch: pytest.MonkeyPatch) -> None:
    """One that is too long is cut, or each new one would leave a piece of the last; a bold line above it is broken at words."""
    monkeypatch.setattr(terminal, "terminal_width", lambda: 40)
    monkeypatch.delenv("NO_COLOR", raising=False)
    seen = Screen()
    monkeypatch.setattr("sys.stdout", terminal.CleanStream(seen))
    live = terminal.LiveLine()
    said = "KEY: fire once, the dome at the face, aimed at the light"

    live.show("steady 120 lx  " + "keep the dome within 4 cm of the face " * 3, terminal.DIM)
    live.clear()
    print(f"{terminal.BOLD}{said}{terminal.PLAIN}")

    lines = re.sub("\033\\[[0-9;]*m", "", seen.getvalue()).replace(terminal.LINE_AGAIN, "\n").splitlines()
    assert max(map(len, lines)) < 40 < len(said)
    assert " ".join(" ".join(lines[-2:]).split()) == said


def test_who_wants_no_colour_has_the_same_table(monkeypatch: pytest.MonkeyPatch) -> None:
    """``NO_COLOR`` (the informal standard of that name, from memory) takes away colour and bold, not the layout of 80 columns."""
    monkeypatch.setattr(terminal, "terminal_width", lambda: 80)
    monkeypatch.setattr(frame, "terminal_width", lambda: 80)
    tables = []
    for value in ("", "1"):
        monkeypatch.setenv("NO_COLOR", value)
        seen = Screen()
        monkeypatch.setattr("sys.stdout", terminal.CleanStream(seen))
        long = "distance not given: 0 to 6 cm toward the light assumed, corrected by a tenth of a stop"
        frame.print_rows(("light", "verdict", "reason"), [("KEY", "good", long)], title="Potter")
        tables.append(seen.getvalue())

    coloured, bare = tables
    assert "\033" in coloured
    assert bare == re.sub("\033\\[[0-9;]*m", "", coloured)
    assert max(map(len, bare.splitlines())) <= 80


def test_a_bell_reaches_the_terminal() -> None:
    """By itself it rings, where a sign of replacement had stood in its place; within a text it may be anybody's."""
    assert (terminal.cleaned(terminal.BELL), terminal.cleaned("KEY\a")) == ("\a", "KEY\N{REPLACEMENT CHARACTER}")


def test_data_for_programs_is_whole_on_a_terminal_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """JSON with a sentence longer than the terminal is wide can be read back."""
    monkeypatch.setattr(terminal, "terminal_width", lambda: 40)
    seen = Screen()
    monkeypatch.setattr("sys.stdout", terminal.CleanStream(seen))
    note = "every reading comes from a recording of the real firmware"

    frame.print_json([{"note": note}])

    assert json.loads(seen.getvalue()) == [{"note": note}]
