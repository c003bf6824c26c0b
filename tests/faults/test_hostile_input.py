"""Whatever comes in - lines of a sensor, documents, names, pipes - is answered in 5 s and 300 MB, in one line."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest
from library_sets import Set
from tallies import Tally
from test_merge import content, one_set

from meterlink.cli.terminal import LINE_AGAIN, cleaned
from meterlink.errors import DialectError, ImportRefused, LibraryError, LinkError, StorageError
from meterlink.library import Library
from meterlink.library.export import csv_text, document, spreadsheet_safe, to_json
from meterlink.library.importing import import_document, import_file
from meterlink.library.merge import merge
from meterlink.sensor.dialects.dialect_file import load_dialect, make_decoder, parse_dialect
from meterlink.sensor.link.recording import read_header

ROOT = Path(__file__).resolve().parents[2]
LONGEST_LINE = 65_536
DIALECTS = {
    "text": 'kind = "text"\n[illuminance]\nunit = "lx"\nlabel = "E"',
    "csv": 'kind = "csv"\n[illuminance]\nunit = "lx"\ncolumn = 1',
    "json": 'kind = "json"\n[illuminance]\nunit = "lx"\npath = "a.b"',
    "senml": 'kind = "senml"\n[illuminance]\nunit = "lx"\nname = "e"',
}
PATTERNS = (
    " ", "\t", "a ", "1 ", "a", "1", "1,", ";", ", ", ",  ", "E:", "E: 1; ", "=", "+", ".", '"', '""', "[", "{", "[[],", "1e",
    "a-_. ", "- ", "é", "\u00a0",
)  # fmt: skip


@pytest.mark.parametrize("kind", DIALECTS)
def test_no_line_takes_long(kind: str, tally: Tally) -> None:
    """26 patterns repeated to the longest line that a description may allow, each with 3 endings: less than a second of work."""
    head, _, rest = DIALECTS[kind].partition("\n")
    text = f'format = 1\nname = "x"\nline_bytes = {LONGEST_LINE}\n{head}\n{rest}'
    for pattern in PATTERNS:
        for end in ("", "!", " lx"):
            decoder = make_decoder(parse_dialect(text))
            decoder.feed(b"\n", 0.0)
            line = (pattern * LONGEST_LINE)[: LONGEST_LINE // len(pattern.encode())] + end
            start = time.process_time()
            decoder.feed(line.encode() + b"\n", 0.0)
            took = time.process_time() - start
            tally.count += 1
            tally.worst_s = max(tally.worst_s, took)
            assert took < 1.0, (kind, pattern, end)


def test_a_note_of_line_ends_makes_csv_at_once() -> None:
    """100,000 line ends, blanks and signs in one note: CSV in less than a second, and still disarmed."""
    for sign in ("\n", " ", "\n ", ";\n", "\t"):
        start = time.perf_counter()
        text = csv_text(["note"], [[sign * (100_000 // len(sign)) + "=1"]])
        assert time.perf_counter() - start < 1.0
        assert "'=1" in text
    assert spreadsheet_safe("a;\n  =1") == "a;\n  '=1"


@pytest.mark.skipif(sys.platform == "win32", reason="named pipes in folders are a POSIX matter")
def test_a_pipe_is_never_waited_for(tmp_path) -> None:
    """Import, merge, opening, a dialect and a recording given a pipe that nobody writes to: refused at once in one line."""
    os.mkfifo(tmp_path / "pipe")
    start = time.perf_counter()
    with Library.open(tmp_path / "a") as library:
        for act, error in (
            (lambda: import_file(library, tmp_path / "pipe"), StorageError),
            (lambda: merge(library, tmp_path / "pipe"), StorageError),
            (lambda: Library.open(tmp_path / "pipe"), StorageError),
            (lambda: load_dialect(tmp_path / "pipe"), DialectError),
            (lambda: read_header(tmp_path / "pipe"), LinkError),
        ):
            with pytest.raises(error) as caught:
                act()
            assert "\n" not in str(caught.value)
    assert time.perf_counter() - start < 2.0


IMPORT = """
import sys, time
sys.path.insert(0, sys.argv[1])
from pathlib import Path
from meterlink.errors import MeterlinkError
from meterlink.library import Library
from meterlink.library.importing import import_file
with Library.open(sys.argv[2]) as library:
    start = time.process_time()
    try:
        import_file(library, Path(sys.argv[3]))
    except MeterlinkError as error:
        print(error)
    print(time.process_time() - start, int(next(x for x in open("/proc/self/status") if x.startswith("VmHWM")).split()[1]) / 1024)
"""
HEAD = b'{"format": "meterlink-library", "version": 1, '
LARGE = {
    "a text of 200 MB": lambda: b'"' + b"x" * 200_000_000 + b'"',
    "the largest of one text": lambda: HEAD + b'"setups": ["' + b"x" * 47_000_000 + b'"]}',
    "wide letters": lambda: HEAD + b'"setups": ["' + "光".encode() * 15_000_000 + b'"]}',
    "many empty tables": lambda: HEAD + b'"setups": [' + b"{}," * 990_000 + b"{}]}",
    "many numbers": lambda: HEAD + b'"written_at_s": [' + b"1.5," * 990_000 + b"1]}",
    "many keys": lambda: HEAD + b",".join(b'"k%d": 1' % n for n in range(900_000)) + b"}",
    "deep": lambda: b"[" * 900_000,
    "one number of many digits": lambda: HEAD + b'"written_at_s": ' + b"9" * 10_000_000 + b"}",
}


@pytest.mark.skipif(sys.platform != "linux", reason="memory is measured in Linux's way")
@pytest.mark.parametrize("what", LARGE)
def test_no_document_costs_more_than_5_s_and_300_mb(tmp_path, tally: Tally, what: str) -> None:
    """The largest documents of eight hostile kinds: refused in one line, within 5 s of work and 300 MB."""
    (tmp_path / "bad.json").write_bytes(LARGE[what]())
    done = subprocess.run(
        [sys.executable, "-c", IMPORT, str(ROOT), str(tmp_path / "a"), str(tmp_path / "bad.json")], capture_output=True, text=True
    )
    tally.count, tally.tracebacks = 1, int("Traceback" in done.stderr)
    lines = done.stdout.splitlines()
    assert len(lines) == 2, done
    tally.worst_s, tally.worst_mb = map(float, lines[1].split())
    assert tally.worst_s < 5
    assert tally.worst_mb < 300


CONTROLS = ("\x1b[2J", "\x1b]0;owned\x07", "\r", "\x07", "\x9b31m", "\u202e", "\x00", "\x7f")


@pytest.mark.parametrize("control", CONTROLS, ids=ascii)
def test_control_characters_come_in_by_no_door(tmp_path, control: str, tally: Tally) -> None:
    """A control character in the name of a set-up, a light, a sensor, a tag, or in a text: refused by import and merge."""
    with Library.open(tmp_path / "own") as own:
        before = content(own)
        for part, field in (("setups", "name"), ("lights", "name"), ("readings", "sensor_id"), ("lights", "fixture"),
                            ("notes", "kind"), ("readings", "note"), ("setups", "subject")):  # fmt: skip
            if control in ("\r", "\u202e") and field in ("fixture", "note", "subject"):
                continue  # part of a text in some writing; what cells and terminals get is cleaned
            with Library.open(one_set(tmp_path / "src", "A") if not (tmp_path / "src").exists() else tmp_path / "src") as source:
                doc = json.loads(to_json(document(source)))
            doc[part][0][field] = f"a{control}b"
            with pytest.raises(ImportRefused) as caught:
                import_document(own, doc)
            assert control not in str(caught.value)
            tally.count += 1
    for table, column in (("setup_version", "name"), ("light_version", "name"), ("sensor", "sensor_id"), ("note", "kind"),
                          ("light_version", "fixture"), ("placement", "gel"), ("reading", "note")):  # fmt: skip
        if control in ("\r", "\x00", "\u202e") and column in ("fixture", "gel", "note"):
            continue
        (tmp_path / "bad").unlink(missing_ok=True)
        other = sqlite3.connect(one_set(tmp_path / "bad", "B"))
        other.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = 1" if table != "reading" else "UPDATE reading SET note = ?",
                      (f"a{control}b",))  # fmt: skip
        if column == "name":
            other.execute(f"UPDATE {table} SET name_key = lower(name)")
        other.commit()
        other.close()
        with Library.open(tmp_path / "own") as own:
            with pytest.raises((ImportRefused, LibraryError)) as refused:
                merge(own, tmp_path / "bad")
            assert content(own) == before
            assert control not in str(refused.value)
        tally.count += 1


def test_what_reaches_the_terminal_is_cleaned_once_more() -> None:
    """Of control characters only what our own lines use comes through: a colour, bold, and a line that is written anew."""
    for control in CONTROLS:
        assert control not in cleaned(f"KEY{control}")
        assert cleaned(f"KEY{control}").startswith("KEY\N{REPLACEMENT CHARACTER}")
    ours = f"{LINE_AGAIN}\033[1mKEY\033[0m \033[1;31mretake\033[0m\n"
    assert cleaned(ours) == ours
    assert cleaned("KEY\r\033[Kgood") != "KEY\r\033[Kgood"


def test_a_hostile_name_that_is_in_the_library_does_not_reach_the_terminal(tmp_path, capsys) -> None:
    """An older library may hold such a name: the list shows it without its controls, errors too."""
    from meterlink.cli.main import main

    with Library.open(tmp_path / "a") as library:
        one = Set(library)
        with library.db.write() as connection:
            connection.execute("UPDATE light_version SET name = ?", ("KEY\x1b[2J\x1b]0;x\x07",))
        library.use_setup(one.setup.id)
    for arguments in (["light", "list"], ["ratios"], ["light", "show", "\x1b[2J"], ["checks"]):
        main(["--library", str(tmp_path / "a"), *arguments])
        out, err = capsys.readouterr()
        assert not any(sign in out + err for sign in "\x1b\x07")


BAD_FALLOFFS = ({}, {"law": "shifted"}, {"law": 1, "points": None}, {"points": [[1]], "law": "shifted"})


def test_a_bad_note_costs_only_itself(tmp_path, capsys) -> None:
    """A falloff that cannot be read, already in the library: every verb works, checks name the modifier; no door lets one in."""
    from meterlink.cli.main import main

    with Library.open(tmp_path / "a") as library:
        one = Set(library)
        library.revise_light(one.key._replace(modifier="Octa 90"))
        one.add()
        one.add(one.fill)
        library.use_setup(one.setup.id)
        for payload in BAD_FALLOFFS:
            with pytest.raises(LibraryError):
                library.add_note("falloff", "Octa 90", payload)
        with library.db.write() as connection:
            for n, payload in enumerate(BAD_FALLOFFS):
                connection.execute(
                    "INSERT INTO note (id, kind, key, at_s, payload) VALUES (?, 'falloff', 'octa 90', 1, ?)",
                    (bytes([0, *([n + 1] * 15)]), json.dumps(payload)),
                )
    for verb in (["ratios"], ["checks"], ["kit", "Octa 90"], ["falloff", "Key"], ["export", "-o", str(tmp_path / "x.json")]):
        main(["--library", str(tmp_path / "a"), *verb])
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        if verb == ["checks"]:
            assert "a falloff that was stored for Octa 90 cannot be read" in out
    said: list[str] = []
    with Library.open(tmp_path / "b") as b:
        merge(b, tmp_path / "a", tell=said.append)
        assert b.db.row("SELECT count(*) FROM note") == (0,)
        assert len(said) == len(BAD_FALLOFFS)
        doc = json.loads((tmp_path / "x.json").read_text())
        doc["notes"] = [{"id": "0" * 32, "kind": "falloff", "key": "octa 90", "at_s": 1, "payload": {}}]
        with pytest.raises(ImportRefused, match="notes\\[0\\]"):
            import_document(b, doc)
