"""JSON out and in, CSV out: nothing lost, nothing harmful."""

from __future__ import annotations

import csv
import io
import json
import re
import runpy
import string
import time
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from library_sets import Set, block
from test_merge import content, one_set

from meterlink.errors import ImportRefused, StorageError
from meterlink.library import Library, fields, importing
from meterlink.library import format as exchange
from meterlink.library.export import (
    csv_text,
    document,
    readings_csv,
    spreadsheet_safe,
    to_json,
    write_json,
    write_library,
)
from meterlink.library.importing import import_document, import_file, parse
from meterlink.library.merge import Added
from meterlink.records import Calibration, RangeScale, new_id

SCHEMA_FOLDER = Path(__file__).resolve().parents[2] / "shared" / "schema"
SCHEMA = json.loads((SCHEMA_FOLDER / "library-v1.schema.json").read_text())
ORACLE = jsonschema.Draft202012Validator(SCHEMA)


@pytest.fixture
def doc(tmp_path) -> dict:
    """A document with something in every part."""
    with Library.open(one_set(tmp_path / "source", "A")) as library:
        library.add_calibration(
            Calibration(new_id(), "x", 1.0, 250.0, "flat", (RangeScale(1e4, 0.1, 0.1),), colour_matrix=(1.0,),
                        angle_response=((0.0, 1.0),), details={"a": 1})
        )  # fmt: skip
        setup = library.setup("A")
        library.revise_setup(setup._replace(tags=("one", "two"), details={"face_height_m": 1.6}))
        return json.loads(to_json(document(library)))


def test_the_schema_file_is_what_the_table_says() -> None:
    """The published schema is made from the table that the import uses."""
    made = runpy.run_path(str(SCHEMA_FOLDER / "make_schema.py"))["schema"]()
    assert made == SCHEMA
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_export_follows_the_schema(doc) -> None:
    """An independent validator (the jsonschema package) accepts what is exported."""
    ORACLE.validate(doc)
    assert set(doc) == {"format", "version", "written_at_s", *fields.DOCUMENT}


def test_a_library_survives_the_trip_through_json(tmp_path, doc) -> None:
    """Export and import into an empty library give back every record, bit by bit."""
    with Library.open(tmp_path / "source") as source, Library.open(tmp_path / "copy") as copy:
        write_json(source, tmp_path / "all.json")
        foreseen = import_file(copy, tmp_path / "all.json", trial=True)
        assert copy.setups() == []
        assert import_file(copy, tmp_path / "all.json") == foreseen
        ours, theirs = content(copy), content(source)
        for part in ours:
            if part != "waveform":  # compressed anew, compared below
                assert ours[part] == theirs[part], part
        reading = source.all_readings(source.setup("A").id)[0]
        assert copy.waveform(reading.id) == block(300)
        assert import_file(copy, tmp_path / "all.json") == Added()
        assert import_file(source, tmp_path / "all.json") == Added()


def test_one_setup_goes_alone_with_what_it_needs(tmp_path) -> None:
    """Exporting one set-up takes its lights, placements, readings and their calibrations, no other set."""
    with Library.open(one_set(tmp_path / "a", "A")) as library, Library.open(tmp_path / "copy") as copy:
        Set(library, "Other")
        only = document(library, [library.setup("A").id], waveforms=False)
        import_document(copy, json.loads(to_json(only, compact=True)))
        assert [s.name for s in copy.setups()] == ["A"]
        assert copy.readings(copy.setup("A").id) == library.readings(library.setup("A").id)
        assert len(copy.calibrations()) == 1


def test_the_whole_library_as_one_file(tmp_path) -> None:
    """A library file of any size: a copy that opens, and that import takes as well."""
    with Library.open(one_set(tmp_path / "a", "A")) as library, Library.open(tmp_path / "copy") as copy:
        write_library(library, tmp_path / "whole.sqlite")
        assert import_file(copy, tmp_path / "whole.sqlite").readings == 3
        assert content(copy) == content(library)
        assert import_file(copy, tmp_path / "whole.sqlite", trial=True) == Added()


def test_export_is_whole_or_not_there(tmp_path) -> None:
    """A place that cannot be written is named and no half file stays."""
    with Library.open(one_set(tmp_path / "a", "A")) as library:
        (tmp_path / "folder").mkdir()
        for write in (write_json, write_library):
            with pytest.raises(StorageError):
                write(library, tmp_path / "folder")
            with pytest.raises(StorageError):
                write(library, tmp_path / "none" / "x.json")
        assert sorted(p.name for p in tmp_path.iterdir() if "sqlite" not in p.name and "-" not in p.name) == ["a", "folder"]


HOSTILE_BYTES = {
    "empty": b"",
    "not json": b"hello",
    "not utf-8": b'{"format": "\xff"}',
    "nan": b'{"format": "meterlink-library", "version": 1, "written_at_s": NaN}',
    "deep lists": b"[" * 100_000,
    "deep tables": b'{"a":' * 50_000 + b"1" + b"}" * 50_000,
    "key twice": b'{"format": "x", "format": "meterlink-library", "version": 1}',
    "endless number": b'{"format": "meterlink-library", "version": ' + b"9" * 10_000 + b"}",
    "too many values": b"[" + b"[]," * 5_000_001 + b"[]]",
    "a list": b"[]",
    "another format": b'{"format": "other", "version": 1}',
    "no version": b'{"format": "meterlink-library"}',
    "newer": b'{"format": "meterlink-library", "version": 2}',
    "version as text": b'{"format": "meterlink-library", "version": "1"}',
    "unknown part": b'{"format": "meterlink-library", "version": 1, "users": []}',
    "part is no list": b'{"format": "meterlink-library", "version": 1, "setups": {}}',
    "record is no table": b'{"format": "meterlink-library", "version": 1, "setups": [1]}',
}


@pytest.mark.parametrize("data", HOSTILE_BYTES.values(), ids=HOSTILE_BYTES.keys())
def test_hostile_bytes_are_refused_in_one_line(library, tmp_path, data: bytes) -> None:
    """Whatever the bytes, the answer is one line and an untouched library."""
    (tmp_path / "bad.json").write_bytes(data)
    with pytest.raises(ImportRefused) as caught:
        import_file(library, tmp_path / "bad.json")
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 400
    assert library.setups() == []


def test_a_file_beyond_the_limit_is_not_even_parsed(monkeypatch) -> None:
    """Size is capped before anything is allocated for its content."""
    monkeypatch.setattr(importing, "FILE_BYTES_MAX", 1000)
    with pytest.raises(ImportRefused, match="larger than"):
        parse(b" " * 1001, "big.json")


def deep(levels: int) -> dict:
    """Make a table in a table in a table ..."""
    made: dict = {}
    for _ in range(levels):
        made = {"a": made}
    return made


CHANGES = {
    "unknown field": ("readings", {"hint": 1}, "unknown field"),
    "wrong type": ("readings", {"exposure_lxs": "12"}, "exposure_lxs is not a number"),
    "flag as number": ("readings", {"clipped": 1}, "true or false"),
    "number as flag": ("readings", {"u_rel": True}, "u_rel is not a number"),
    "infinite": ("readings", {"exposure_lxs": 1e999}, "exposure_lxs is not a number"),
    "negative": ("readings", {"exposure_lxs": -1.0}, "exposure_lxs is not a number"),
    "null": ("readings", {"kind": None}, "kind is null"),
    "unknown code": ("readings", {"kind": "laser"}, "kind is not one of"),
    "path as id": ("readings", {"id": "../../../../etc/passwd"}, "not an id"),
    "far future": ("setups", {"id": "f" * 32}, "not an id"),
    "dangling light": ("readings", {"light_id": "0" * 32}, "refers to a light that is not in the file"),
    "dangling set": ("lights", {"setup_id": "0" * 32}, "refers to a set-up"),
    "dangling source": ("lights", {"source_light_id": "0" * 32}, "refers to a light"),
    "dangling mark": ("marks", {"reading_id": "0" * 32}, "refers to a reading"),
    "long text": ("readings", {"note": "x" * 100_001}, "note is not a text"),
    "zero in text": ("readings", {"note": "a\0b"}, "note is not a text"),
    "broken text": ("readings", {"note": "\ud800"}, "not proper text"),
    "control name": ("setups", {"name": "a\x1b[2J"}, "name is not a name"),
    "deep details": ("placements", {"details": deep(40)}, "deeper than"),
    "broken text in details": ("placements", {"details": {"a": "\ud800"}}, "proper text"),
    "long details": ("placements", {"details": {"a": "x" * 100_001}}, "characters"),
    "many pops": ("readings", {"pops": [{"exposure_lxs": 1}] * 1001}, "at most 1000"),
    "bad pop": ("readings", {"pops": [{"exposure_lxs": 1, "more": 2}]}, "pops\\[0\\] has an unknown field"),
    "not base64": ("waveforms", {"data": "***"}, "not base64"),
    "odd bits": ("waveforms", {"bits": 9}, "bits"),
    "short segment": ("waveforms", {"segments": [[1, 2]]}, "segments\\[0\\] is not a list of 3"),
    "itself as source": ("readings", {"supersedes_id": "0" * 32}, "supersedes one that is not there"),
}


@pytest.mark.parametrize(("part", "change", "what"), CHANGES.values(), ids=CHANGES.keys())
def test_wrong_records_are_refused_with_their_place(library, doc, part: str, change: dict, what: str) -> None:
    """One bad field refuses the whole file and says which one it is."""
    doc[part][0] |= change
    with pytest.raises(ImportRefused, match=what) as caught:
        import_document(library, doc, "file.json")
    assert "\n" not in str(caught.value)
    assert library.setups() == []


@pytest.mark.parametrize("part", ["placements", "calibrations", "readings", "marks", "notes", "setups", "lights", "waveforms"])
def test_ids_that_are_used_twice_are_refused(library, doc, part: str) -> None:
    """A repeated record, changed or not, is a damaged file."""
    doc[part].append(dict(doc[part][0]))
    with pytest.raises(ImportRefused, match="UNIQUE" if part == "waveforms" else "repeats the id"):
        import_document(library, doc)
    assert library.setups() == []


def test_a_version_that_moves_its_light_to_another_set_is_refused(library, doc) -> None:
    """All versions of a light belong to one set-up."""
    other = {**doc["setups"][0], "id": "0" * 32, "version_id": "0" * 31 + "1"}
    doc["setups"].append(other)
    doc["lights"].append({**doc["lights"][0], "version_id": "0" * 31 + "2", "setup_id": "0" * 32})
    with pytest.raises(ImportRefused, match="repeats the id"):
        import_document(library, doc)


def test_a_known_id_with_other_content_is_refused(tmp_path, doc) -> None:
    """An edited reading under its old id is not taken, nor anything else of the file."""
    with Library.open(tmp_path / "source") as source:
        before = content(source)
        doc["readings"][0]["exposure_lxs"] = 99.0
        doc["readings"][0]["pops"] = []
        with pytest.raises(ImportRefused, match="another reading under an id"):
            import_document(source, doc)
        assert content(source) == before


LOOSER = ("name", "names", "text", "object", "base64", "integer", "segments", "records")
"""Kinds where the schema cannot say all that the import asks (printable, proper text, 1.0 is no whole number ...)."""
json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**20), 10**20) | st.floats(allow_nan=False) | st.text(max_size=20)
    | st.sampled_from(["0" * 32, "light", "dome", "key", 0, 1, -1, 1e16, ""]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)  # fmt: skip


@settings(max_examples=300)
@given(st.sampled_from(sorted(fields.DOCUMENT)), st.data())
def test_what_the_import_accepts_the_schema_accepts(part: str, data) -> None:
    """Our validator is never more generous than an independent one on the published schema, field by field."""
    table = fields.DOCUMENT[part]
    record = data.draw(st.fixed_dictionaries({}, optional=dict.fromkeys((*table, "more"), json_values)))
    ours = exchange.record_trouble(record, table) is None
    theirs = ORACLE.is_valid({"format": exchange.FORMAT, "version": 1, part: [record]})
    if ours:
        assert theirs
    for name, value in record.items():
        alone = exchange.record_trouble({name: value}, {name: table[name]} if name in table else {}) is None
        schema = SCHEMA["properties"][part]["items"]["properties"].get(name, False)
        looser = table.get(name, fields.TEXT).kind in LOOSER
        if not looser:
            assert alone == jsonschema.Draft202012Validator(schema).is_valid(value), (name, value)


@pytest.mark.parametrize("part", sorted(fields.DOCUMENT))
def test_a_record_with_nothing_but_what_the_schema_asks_for_is_taken(tmp_path, doc, part: str) -> None:
    """Whatever the published schema lets a record leave out, the import does without: a reading without a light is the set's."""
    doc[part][-1] = {k: v for k, v in doc[part][-1].items() if fields.DOCUMENT[part][k].required}
    assert ORACLE.is_valid(doc)
    with Library.open(tmp_path / "l") as library:
        assert import_document(library, doc).setups == 1


@settings(max_examples=60)
@given(st.data())
def test_a_document_with_one_random_change_is_taken_or_refused_whole(tmp_path_factory, data) -> None:
    """Whatever one changes in a good file, the import either works or refuses in one line and leaves nothing."""
    folder = tmp_path_factory.mktemp("f")
    with Library.open(one_set(folder / "s", "A")) as source:
        doc = json.loads(to_json(document(source)))
    part = data.draw(st.sampled_from(sorted(fields.DOCUMENT)))
    record = data.draw(st.sampled_from(doc[part]))
    record[data.draw(st.sampled_from(sorted(fields.DOCUMENT[part])))] = data.draw(json_values)
    with Library.open(folder / "l") as library:
        try:
            import_document(library, doc)
        except ImportRefused as error:
            assert "\n" not in str(error)  # noqa: PT017
            assert library.setups() == []
        else:
            again = json.loads(to_json(document(library)))
            assert {len(again[p]) == len(doc[p]) for p in fields.DOCUMENT} == {True}


# -- CSV --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "safe"),
    [
        ("=1+1", "'=1+1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("+cmd|' /C calc'!A0", "'+cmd|' /C calc'!A0"),
        ("-2+3", "'-2+3"),
        ("\t=1", "\t'=1"),
        ("  =1", "  '=1"),
        ("a;=1", "a;'=1"),
        ("a\n=1", "a\n'=1"),
        ("＝1", "'＝1"),
        ("-0.3", "-0.3"),
        ("-inf", "'-inf"),
        ("Key, left", "Key, left"),
        ("f/8 -0.3", "f/8 -0.3"),
    ],
)
def test_formulas_are_disarmed(text: str, safe: str) -> None:
    """Cells that begin like a formula (OWASP, "CSV Injection") get an apostrophe, plain texts and numbers stay."""
    assert spreadsheet_safe(text) == safe


@given(st.lists(st.lists(st.text(st.sampled_from(string.printable + "＝；é")), min_size=2, max_size=3), max_size=4))
def test_no_cell_starts_like_a_formula_however_the_file_is_split(table) -> None:
    """Read at commas, or cut by a program that splits at semicolons or tabs, no cell begins with a formula's sign."""
    text = csv_text(["a"], table)
    cells = [cell for row in csv.reader(io.StringIO(text, newline="")) for cell in row]
    for cell in cells + re.split(r"[;\t\r\n]", text):
        begin = cell.strip()
        number = re.fullmatch(r"[-+]?[0-9.]+(e[-+]?[0-9]+)?(,.*)?", begin, re.IGNORECASE | re.DOTALL)
        assert begin[:1] not in tuple("=+-@＝＋－＠") or number


def test_readings_as_csv_read_back(filled) -> None:
    """Numbers come back exactly, unknown is empty, and what was taken back says so."""
    first = filled.add(exposure_lxs=12.345678901234567, held_off_m=0.2, note='say "cheese", =1')
    filled.add(supersedes_id=first.id)
    filled.library.void_reading(filled.add().id)
    table = list(csv.DictReader(io.StringIO(readings_csv(filled.library, filled.setup.id))))

    assert [r["standing"] for r in table] == ["superseded", "yes", "void"]
    assert float(table[0]["exposure_lxs"]) == 12.345678901234567
    assert (table[0]["light"], table[0]["role"], table[0]["note"]) == ("Key", "key", 'say "cheese", =1')
    assert table[1]["held_off_m"] == ""
    assert table[0]["taken_at_utc"] == time.strftime("%Y-%m-%d %H:%M:%S", time.gmtime(first.taken_at_s))
