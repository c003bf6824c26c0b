"""``export``, ``import`` and ``merge`` as a person types them, the square's text included."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path

import pytest

from meterlink.library.merge import Added
from meterlink.library.store import Library
from meterlink.library.sync import Synced
from meterlink.report.qr import packed, square_of

Run = Callable[..., object]


@pytest.fixture
def demo(ml: Run, monkeypatch: pytest.MonkeyPatch) -> Run:
    """The demo set, metered from its recording."""
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert ml("demo").code == 0
    return ml


def table(path: Path) -> list[dict[str, str]]:
    """A CSV file as rows."""
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"), newline="")))


def test_ratios_as_csv_are_the_table(demo: Run, tmp_path: Path) -> None:
    """One row a light with the names of the JSON; numbers are numbers, what is not known is empty."""
    path = tmp_path / "ratios.csv"
    assert demo("export", "-o", str(path), "--ratios").code == 0
    rows, expected = table(path), json.loads(demo("ratios", "--json").out)

    assert [row["light"] for row in rows] == [row["light"] for row in expected]
    for row, json_row in zip(rows, expected, strict=True):
        assert list(row) == list(json_row)
        assert row["reason"] == json_row["reason"]
        assert float(row["from_key_stops"]) == pytest.approx(json_row["from_key_stops"])
        assert (row["share"] == "") == (json_row["share"] is None)


def test_readings_as_csv_show_what_stands(demo: Run, tmp_path: Path) -> None:
    """Every reading of the set-up; the one of before the power change is there as well."""
    path = tmp_path / "readings.csv"
    assert demo("export", "-o", str(path)).code == 0

    assert {row["light"] for row in table(path)} >= {"KEY", "CARD", "HAIR", "RIM", "BACKDROP"}
    assert all(row["standing"] in ("yes", "superseded", "void") for row in table(path))


@pytest.mark.parametrize("name", ["set.json", "set.csv"])
def test_an_export_takes_no_files_place_unasked(small_set: Run, tmp_path: Path, name: str) -> None:
    """What stands there stays, in one line that says how to have it replaced."""
    path = tmp_path / name
    path.write_text("mine")

    refused = small_set("export", "-o", str(path))

    assert (refused.code, path.read_text()) == (2, "mine")
    assert refused.err.count("\n") == 1
    assert "exists: choose another name, or have it replaced (--replace)" in refused.err
    assert small_set("export", "-o", str(path), "--replace").code == 0
    assert path.read_text() != "mine"


def test_a_name_like_a_formula_is_disarmed(small_set: Run, tmp_path: Path) -> None:
    """A spreadsheet must not run what somebody called a light (OWASP, CSV injection)."""
    small_set("light", "add", "=1+1", "--role", "other", "--distance", "1m")
    path = tmp_path / "ratios.csv"
    small_set("export", "-o", str(path), "--ratios")

    assert [row["light"] for row in table(path)][-1] == "'=1+1"


def test_a_set_up_goes_to_another_library_and_back(demo: Run, tmp_path: Path) -> None:
    """JSON out, shown, taken, and a second time nothing is new."""
    path = tmp_path / "set.json"
    demo("export", "-o", str(path))
    other = ("--library", str(tmp_path / "other.sqlite"))
    shown = demo(*other, "import", str(path), "--show")
    taken = demo(*other, "import", str(path))
    again = demo(*other, "import", str(path))

    assert shown.code == taken.code == again.code == 0
    assert shown.out.startswith("would add: ")
    assert "Potter at the wheel" in demo(*other, "setup", "list").out
    assert taken.out.splitlines()[0] == shown.out.strip().replace("would add", "added")
    assert taken.out.startswith("added: 1 set-up, 5 lights, ")
    assert again.out == "added: nothing new\n"


def test_sync_says_in_words_what_it_did(ml: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """How many records were sent, and what came, counted by kind; not the record of the program."""
    monkeypatch.setattr("meterlink.cli.sync.sync", lambda *_, **__: Synced(4, Added(setups=1, readings=31)))
    ran = ml("sync", "postgresql://studio@192.0.2.7/work")

    assert (ran.code, ran.out) == (0, "sent: 4 records; added here: 1 set-up, 31 readings\n")


def test_the_whole_library_as_one_file_merges(demo: Run, tmp_path: Path) -> None:
    """A .sqlite file holds everything; merge takes it."""
    path = tmp_path / "studio.sqlite"
    assert demo("export", "-o", str(path), "--everything").code == 0
    assert demo("--library", str(tmp_path / "other.sqlite"), "merge", str(path)).code == 0
    assert "Potter at the wheel" in demo("--library", str(tmp_path / "other.sqlite"), "setup", "list").out


def test_the_square_s_text_brings_the_set_up(demo: Run, tmp_path: Path) -> None:
    """What a reader takes from the sheet's square is typed behind --code; the library's own letters work as well."""
    from meterlink.library.code import encode, slim_document

    with Library.open(tmp_path / "library.sqlite") as library:
        setup = library.current_setup()
        assert square_of(library, setup.id)[1]
        code = encode(slim_document(library, setup.id))
    for number, text in enumerate((packed(code), code)):
        other = ("--library", str(tmp_path / f"other{number}.sqlite"))
        shown = demo(*other, "import", "--code", text, "--show")
        assert shown.out.startswith("would add: 1 set-up")
        assert "no set-ups yet" in demo(*other, "setup", "list").out
        ran = demo(*other, "import", "--code", text)
        assert ran.code == 0, ran.err
        assert "Potter at the wheel" in demo(*other, "setup", "list").out


HOSTILE = {
    "no json": b"shopping list",
    "empty": b"",
    "deep": b"[" * 100_000,
    "other json": b'{"format": "something else"}',
    "newer": b'{"format": "meterlink-library", "version": 99}',
    "wrong types": b'{"format": "meterlink-library", "version": 1, "setups": [{"id": 7}]}',
    "not a list": b'{"format": "meterlink-library", "version": 1, "setups": {"a": 1}}',
    "nan": b'{"format": "meterlink-library", "version": 1, "written_at_s": NaN}',
    "not utf-8": b'{"format": "\xff"}',
    "half a library": b"SQLite format 3\0" + b"\0" * 200,
}


@pytest.mark.parametrize("name", sorted(HOSTILE))
def test_hostile_files_are_refused_in_one_line(small_set: Run, tmp_path: Path, name: str) -> None:
    """One line on stderr, exit code 1 or 2, and the library is what it was."""
    path = tmp_path / "file.json"
    path.write_bytes(HOSTILE[name])
    before = small_set("setup", "show", "--json").out
    for verb in ("import", "merge"):
        ran = small_set(verb, str(path))
        assert ran.code in (1, 2)
        assert len(ran.err.splitlines()) == 1, ran.err
    assert small_set("setup", "show", "--json").out == before


WRONG = [
    (("import",), "either a file or --code"),
    (("import", "a.json", "--code", "x"), "either a file or --code"),
    (("import", "/not/there.json"), "there.json"),
    (("import", "--code", "nonsense"), "no code"),
    (("import", "--code", "METERLINK1:ABC"), "again"),
    (("import", "--code", "METERLINK1:" + "Z" * 300), "again"),
    (("import", "--code", "meterlink1." + "A" * 9000), "no code"),
    (("export", "-o", "set.txt"), ".json, .csv or .sqlite"),
    (("export", "-o", "set.sqlite"), "--everything"),
    (("export", "-o", "/proc/no/set.json"), "written"),
    (("merge", "/not/there.sqlite"), "there.sqlite"),
]


@pytest.mark.parametrize(("arguments", "words"), WRONG, ids=[" ".join(a)[:50] for a, _ in WRONG])
def test_what_is_typed_wrongly_gets_one_line(small_set: Run, arguments: tuple[str, ...], words: str) -> None:
    """One line that says what to do, exit code 1 or 2."""
    ran = small_set(*arguments)

    assert ran.code in (1, 2)
    assert words in ran.err
    assert len(ran.err.splitlines()) == 1


def test_a_lone_set_up_that_comes_into_an_empty_library_is_in_use(small_set: Run, tmp_path: Path) -> None:
    """Nothing else could be meant, and its name is said; where a set is in use already, that stays."""
    small_set("export", "-o", str(tmp_path / "one.json"))
    empty = ("--library", str(tmp_path / "empty.sqlite"))

    ran = small_set(*empty, "import", str(tmp_path / "one.json"))

    assert ran.code == 0
    assert "Potter is in use" in ran.out
    assert "KEY" in small_set(*empty, "light", "list").out

    other = ("--library", str(tmp_path / "other.sqlite"))
    small_set(*other, "setup", "new", "Mine")
    assert "is in use" not in small_set(*other, "import", str(tmp_path / "one.json")).out
    assert "Mine" in small_set(*other, "setup", "show").out


def test_several_set_ups_that_come_are_not_chosen_from(small_set: Run, tmp_path: Path) -> None:
    """Which of two is meant is hers to say."""
    small_set("setup", "copy", "Potter")
    small_set("export", "-o", str(tmp_path / "two.json"), "--everything")
    empty = ("--library", str(tmp_path / "empty.sqlite"))

    assert "is in use" not in small_set(*empty, "import", str(tmp_path / "two.json")).out
    assert small_set(*empty, "light", "list").code != 0
