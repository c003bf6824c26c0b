"""Files that earlier versions really wrote: a library of each schema, an exported document, the text of a sheet's square."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from test_merge import content
from test_migrations import old_library

from meterlink.library import Library
from meterlink.library.check import check
from meterlink.library.code import decode
from meterlink.library.export import document
from meterlink.library.importing import import_document, import_file

DATA = Path(__file__).parent / "data"
EXPORTED = json.loads((DATA / "export-v1.json").read_text())


def test_a_library_of_schema_3_says_what_it_said_then(tmp_path) -> None:
    """Every record of a file of schema 3 is, field by field, what the meterlink of its time exported from it."""
    with Library.open(old_library(tmp_path / "old", 3)) as library:
        said = json.loads(json.dumps(document(library)))
        assert library.current_setup().name == "Old set"
        assert library.settings().min_gap_s == 1.0
        assert (library.recall("last_sensor"), library.recall("walk")) == ("sim:", {"a": [1]})
    assert {**said, "written_at_s": 0} == {**EXPORTED, "written_at_s": 0}
    assert check(tmp_path / "old").sound


def test_an_exported_document_becomes_the_library_it_came_from(tmp_path) -> None:
    """The document of then, imported today, gives the records of the library of then."""
    with Library.open(old_library(tmp_path / "old", 3)) as old, Library.open(tmp_path / "new") as new:
        import_file(new, DATA / "export-v1.json")
        ours, theirs = content(new), content(old)
        for part in ours:
            if part != "waveform":  # compressed anew
                assert ours[part] == theirs[part], part
        (first, *_) = old.all_readings(old.current_setup().id)
        assert new.waveform(first.id) == old.waveform(first.id)


def test_the_square_of_a_printed_sheet_is_still_read(tmp_path) -> None:
    """A sheet that was printed then brings its set-up, lights and readings."""
    with Library.open(tmp_path / "new") as library:
        added = import_document(library, decode((DATA / "code-v1.txt").read_text()), "the code")
        assert (added.setups, added.lights, added.readings) == (1, 3, 3)  # the key was moved after its pop
        assert {x.name for x in library.lights(library.setup("Old set").id)} == {"Key", "Fill", "Karte Ü"}


@pytest.mark.parametrize("version", [1, 2, 3])
def test_an_old_library_is_sound_after_its_update(tmp_path, version: int) -> None:
    """Whatever schema it came from: updated, nothing is found in it, every record and waveform decodes."""
    path = old_library(tmp_path / "old", version)
    Library.open(path).close()
    assert check(path).findings == []


@pytest.mark.parametrize("version", [1, 2, 3])
def test_an_old_library_goes_through_a_document_unchanged(tmp_path, version: int) -> None:
    """Whatever schema it came from: written as a document and read back, every record and waveform is what it was."""
    with Library.open(old_library(tmp_path / "old", version)) as old, Library.open(tmp_path / "new") as new:
        import_document(new, json.loads(json.dumps(document(old))), "the document")
        ours, theirs = content(new), content(old)
        for part in ours:
            if part != "waveform":  # compressed anew
                assert ours[part] == theirs[part], part
        for reading in old.all_readings(old.current_setup().id):
            assert new.reading(reading.id) == reading
            assert new.waveform(reading.id) == old.waveform(reading.id)
