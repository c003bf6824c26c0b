"""The verbs: what a person types, what it prints, and the exit code."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from meterlink.cli.main import VERBS, build_parser, overview

Run = Callable[..., object]


@pytest.mark.parametrize("verb", sorted(VERBS))
def test_every_verb_has_help_with_an_example(verb: str) -> None:
    """``meterlink VERB --help`` shows what it does and at least one command to copy."""
    text = build_parser(verb).format_help()

    assert "examples:" in text
    assert re.search(rf"^  meterlink {verb}\b", text, re.MULTILINE)


@pytest.mark.parametrize("verb", sorted(VERBS))
def test_every_verb_stands_in_the_overview(verb: str) -> None:
    """``meterlink --help`` lists each verb with one line."""
    assert re.search(rf"^  {verb}\s+\S", overview(), re.MULTILINE)


def test_help_of_a_verb_exits_with_zero(ml: Run) -> None:
    """Asking for help is not an error."""
    assert ml("ratios", "--help").code == 0


def test_an_unknown_verb_names_the_nearest(ml: Run) -> None:
    """A slip in the verb gives one line with the nearest one and exit code 2."""
    ran = ml("ratio")

    assert ran.code == 2
    assert ran.err == "meterlink: there is no verb 'ratio': did you mean 'ratios'?\n"


def test_the_library_may_stand_before_and_after_the_verb(ml: Run, tmp_path: Path) -> None:
    """``--library`` is taken in both places and decides which file is written."""
    ml("--library", str(tmp_path / "a.sqlite"), "setup", "new", "A")
    ml("setup", "--library", str(tmp_path / "b.sqlite"), "new", "B")

    assert "A" in ml("--library", str(tmp_path / "a.sqlite"), "setup", "list").out
    assert "B" in ml("--library", str(tmp_path / "b.sqlite"), "setup", "list").out
    assert not (tmp_path / "library.sqlite").exists()


def test_lengths_are_taken_as_people_say_them(small_set: Run) -> None:
    """4ft6 is kept as 1.3716 m."""
    lights = json.loads(small_set("light", "list", "--json").out)

    assert lights[1]["placement"]["distance_m"] == pytest.approx(1.3716)


def test_a_light_without_a_reading_has_no_number(small_set: Run) -> None:
    """The table of an unmetered set shows what to do and null in JSON."""
    rows = json.loads(small_set("ratios", "--json").out)

    assert [row["corrected_f"] for row in rows] == [None, None]
    assert "meterlink meter KEY" in small_set("ratios").out


def test_json_rows_have_the_names_that_others_rely_on(small_set: Run) -> None:
    """The keys of a row are those of the design, in its order first."""
    row = json.loads(small_set("ratios", "--json").out)[0]

    assert list(row)[:12] == [
        "light", "role", "point", "as_read_f", "corrected_f", "correction_stops", "from_key_stops",
        "from_key_u95_stops", "light_over_key", "share", "verdict", "reason",
    ]  # fmt: skip


# Each: what is typed wrongly, and words that the one line of answer holds.
WRONG = [
    (("light", "add", "X", "--role", "key", "--distance", "0m"), "distance"),
    (("light", "add", "X", "--role", "key", "--distance=-1m"), "distance"),
    (("light", "add", "X", "--role", "key", "--distance", "51m"), "distance"),
    (("light", "add", "X", "--role", "key", "--distance", "1.2"), "no unit"),
    (("light", "add", "X", "--role", "boss"), "role"),
    (("light", "add", "X"), "--role"),
    (("light", "add", "key", "--role", "fill"), "already"),
    (("light", "add", "X", "--role", "key", "--disk", "60x90cm"), "--rectangle"),
    (("light", "add", "X", "--role", "key", "--rectangle", "60cm"), "two sizes"),
    (("light", "move", "KEY"), "what changed"),
    (("light", "move", "NOBODY", "--power", "1/8"), "NOBODY"),
    (("light", "move", "KEY", "--power", "loud"), "power"),
    (("meter", "NOBODY", "--sensor", "sim:"), "NOBODY"),
    (("meter", "KEY@2m", "--sensor", "sim:"), "1.2 m away"),
    (("meter", "KEY@-5cm", "--sensor", "sim:"), "held-off"),
    (("meter", "KEY", "--pops", "0", "--sensor", "sim:"), "--pops"),
    (("meter", "KEY", "--held-off-toward", "somewhere"), "light, camera"),
    (("setup", "change", "--iso", "0"), "ISO"),
    (("setup", "change", "--shutter", "1/0"), "shutter"),
    (("setup", "use", "Potr"), "Potter"),
    (("setup", "new", "Potter"), "already"),
    (("reassign", "KEY"), "no reading"),
    (("undo",), "no reading"),
    (("targets", "FILL=loud"), "target"),
    (("targets", "FILL=-1"), "no current reading"),
    (("meter", "KEY", "--sensor", "serial:/dev/not-there"), "not-there"),
    (("meter", "KEY", "--sensor", "nonsense"), "nonsense"),
    (("meter", "KEY", "--sensor", "file:/not/there.mlrec"), "there.mlrec"),
]


@pytest.mark.parametrize(("arguments", "words"), WRONG, ids=[" ".join(a) for a, _ in WRONG])
def test_what_is_typed_wrongly_gets_one_clear_line(small_set: Run, arguments: tuple[str, ...], words: str) -> None:
    """One line on stderr that names the trouble, exit code 1 or 2, no trace."""
    ran = small_set(*arguments)

    assert ran.code in (1, 2)
    assert words in ran.err
    line = [one for one in ran.err.splitlines() if one.startswith("meterlink: ")]
    assert len(line) == 1
    assert "Traceback" not in ran.err


def test_wrong_use_changes_nothing(small_set: Run) -> None:
    """After every refused command the set is as it was."""
    before = small_set("light", "list", "--json").out
    for arguments, _ in WRONG:
        small_set(*arguments)

    assert small_set("light", "list", "--json").out == before


def test_a_folder_that_cannot_be_written_is_said(ml: Run) -> None:
    """A library in a folder that is not there gets one line and exit code 1."""
    ran = ml("--library", "/proc/no/library.sqlite", "setup", "new", "A")

    assert ran.code == 1
    assert len(ran.err.splitlines()) == 1


def test_a_file_that_is_no_library_is_left_alone(ml: Run, tmp_path: Path) -> None:
    """A text file is not overwritten by opening it as a library."""
    path = tmp_path / "notes.txt"
    path.write_text("shopping list\n" * 100)

    ran = ml("--library", str(path), "setup", "list")

    assert ran.code == 1
    assert path.read_text().startswith("shopping list")


def test_names_from_outside_are_text_not_markup(ml: Run) -> None:
    """A light named like a markup tag is printed as it is."""
    ml("setup", "new", "A")
    ml("light", "add", "[red]", "--role", "key", "--distance", "1m")

    assert "[red]" in ml("light", "list").out
