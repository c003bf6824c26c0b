"""Set-ups, lights, placements, calibrations, notes, settings and memory in the store."""

from __future__ import annotations

import sqlite3

import pytest

from meterlink.errors import LibraryError, NotInLibrary, UsageError
from meterlink.library import Library
from meterlink.records import Calibration, Light, Placement, RangeScale, Settings, Setup, new_id


def test_setup_comes_back_whole(library: Library) -> None:
    """Every field of a set-up survives the file, details and tags included."""
    setup = Setup(
        new_id(), "Ánna — wall", 1.7e9, 1250.0, 1 / 160, -0.3, 0.9, "two\nlines", ("beauty", "näh"), "A.", False,
        {"face_height_m": 1.6, "points": {"hair": [0.1, None]}},
    )  # fmt: skip
    library.add_setup(setup)

    assert library.setup(setup.id) == setup
    assert library.setup("ánna — WALL") == setup


def test_revised_setup_shows_its_latest_version_and_keeps_the_older(library: Library) -> None:
    """A revision is a further version: the old row is still in the file."""
    setup = Setup(new_id(), "One", 1.0)
    library.add_setup(setup)
    library.revise_setup(setup._replace(name="Two", iso=400.0))

    assert library.setup("two").iso == 400.0
    assert [row[0] for row in library.db.rows("SELECT name FROM setup_version ORDER BY id")] == ["One", "Two"]
    with pytest.raises(NotInLibrary):
        library.setup("one")


def test_second_setup_of_a_name_is_refused_until_the_first_is_archived(library: Library) -> None:
    """Names in use are unique in any case; an archived set-up gives its name free."""
    first = Setup(new_id(), "Anna", 1.0)
    library.add_setup(first)
    with pytest.raises(UsageError, match="named 'Anna' already"):
        library.add_setup(Setup(new_id(), "ANNA ", 2.0))
    library.revise_setup(first._replace(archived=True))
    second = Setup(new_id(), "Anna", 3.0)
    library.add_setup(second)

    assert library.setup("anna") == second
    assert library.setups() == [second]
    assert len(library.setups(include_archived=True)) == 2
    with pytest.raises(UsageError, match="named 'Anna' already"):
        library.revise_setup(first)


@pytest.mark.parametrize(
    "change", [{"iso": 1e12}, {"iso": 0.0}, {"shutter_s": 1e9}, {"filter_stops": -1.0}, {"camera_offset_stops": 200.0}]
)
def test_numbers_that_an_export_could_not_hold_are_not_stored(library: Library, change: dict[str, float]) -> None:
    """What the published schema gives limits to is kept within them, so that whatever is stored can be exported and taken again."""
    with pytest.raises(LibraryError, match="beyond"):
        library.add_setup(Setup(new_id(), "One", 1.0)._replace(**change))
    assert library.setups() == []


@pytest.mark.parametrize("name", ["", "  ", "a\nb", "a\x1b[31mb", "x" * 201])
def test_impossible_names_are_refused(library: Library, name: str) -> None:
    """Empty, over-long and control-character names are wrong use."""
    with pytest.raises(UsageError):
        library.add_setup(Setup(new_id(), name, 1.0))
    assert library.setups() == []


def test_search_needs_every_word_somewhere(library: Library) -> None:
    """Search looks in name, subject, tags and notes, in any case."""
    library.add_setup(Setup(new_id(), "Kitchen", 1.0, subject="Ada", tags=("warm",)))
    library.add_setup(Setup(new_id(), "Loft", 2.0, subject="Ada", notes="cold wall"))

    assert [s.name for s in library.setups(search="ada WARM")] == ["Kitchen"]
    assert [s.name for s in library.setups(search="ada")] == ["Loft", "Kitchen"]
    assert library.setups(search="nobody") == []


def test_unknown_names_say_what_is_close(filled) -> None:
    """A mistyped set-up or light gets the names that it may have meant."""
    library = filled.library
    with pytest.raises(NotInLibrary, match="did you mean 'Window wall'"):
        library.setup("Windoww all")
    with pytest.raises(NotInLibrary, match="did you mean 'Fill'"):
        library.light(filled.setup.id, "Fil")
    with pytest.raises(NotInLibrary, match="there are 'Key', 'Fill'"):
        library.light(filled.setup.id, "zzz")
    with pytest.raises(NotInLibrary, match="there is only 'Window wall'"):
        library.setup("zzz")


def test_setup_is_found_by_the_beginning_of_its_id(filled) -> None:
    """Ten and more digits of an id name a set-up."""
    assert filled.library.setup(filled.setup.id[:16]) == filled.setup


def test_no_current_setup_says_how_to_get_one(library: Library) -> None:
    """Without a chosen set-up the error names the commands."""
    with pytest.raises(NotInLibrary, match="setup new"):
        library.current_setup()


def test_current_setup_outlives_the_process(path) -> None:
    """The choice is in the file."""
    with Library.open(path) as library:
        setup = Setup(new_id(), "One", 1.0)
        library.add_setup(setup)
        library.use_setup(setup.id)
    with Library.open(path) as library:
        assert library.current_setup() == setup


def test_light_comes_back_whole(filled) -> None:
    """Every field of a light survives, the source of a passive reflector included."""
    light = Light(
        new_id(), filled.setup.id, "Reflector", "fill", "hair", 3, "white board", "silver", filled.key.id, True,
        0.1, -7.0, 400.0, {"tube": "bare"},
    )  # fmt: skip
    filled.library.add_light(light)

    assert filled.library.light(filled.setup.id, "reflector") == light
    assert filled.library.lights(filled.setup.id) == [filled.key, filled.fill, light]


def test_two_lights_of_one_name_are_refused_but_a_removed_one_frees_it(filled) -> None:
    """Light names are unique in a set-up among those not removed."""
    with pytest.raises(UsageError, match="named 'Key' in this set-up already"):
        filled.light("key", "other", 9)
    filled.library.revise_light(filled.key._replace(removed=True))
    again = filled.light("KEY", "key", 1)

    assert filled.library.light(filled.setup.id, "Key") == again
    assert filled.library.light(filled.setup.id, filled.key.id).removed


def test_a_reflector_cannot_feed_itself(filled) -> None:
    """The source of a reflector is another light of the same set-up."""
    own = new_id()
    with pytest.raises((UsageError, NotInLibrary)):
        filled.library.add_light(Light(own, filled.setup.id, "Board", "fill", source_light_id=own))


def test_moving_a_light_keeps_where_it_stood(filled) -> None:
    """The latest placement is the current one, all of them stay."""
    moved = filled.place(filled.key, distance_m=1.1, power_text="1/4+0.3", power_stops=-1.7, details={"boom": True})

    assert filled.library.current_placements(filled.setup.id) == {
        filled.key.id: moved, filled.fill.id: filled.stands[filled.fill.id]
    }  # fmt: skip
    assert filled.library.placements(filled.key.id) == [filled.stands[filled.key.id], moved]


def test_records_made_after_opening_sort_after_the_stored_ones(path, monkeypatch) -> None:
    """A clock set back between two runs must not make the new placement look older than the one it replaces."""
    from meterlink.records import ids

    with Library.open(path) as library:
        setup = Setup(new_id(), "One", 1.0)
        library.add_setup(setup)
        light = Light(new_id(), setup.id, "Key", "key")
        library.add_light(light)
        library.add_placement(Placement(new_id(now_s=4e9), light.id, 4e9, distance_m=1.0))
    monkeypatch.setattr(ids, "_last", 0)
    with Library.open(path) as library:
        library.add_placement(Placement(new_id(), light.id, 1.0, distance_m=2.0))
        assert library.current_placements(setup.id)[light.id].distance_m == 2.0


def test_revision_wins_over_a_version_with_a_later_clock(library: Library, monkeypatch) -> None:
    """A rename made here and now wins even when the stored version came from a clock running ahead."""
    from meterlink.records import ids

    setup = Setup(new_id(), "One", 1.0)
    library.add_setup(setup)
    with library.db.write() as connection:
        connection.execute("UPDATE setup_version SET id = ?", (bytes.fromhex(new_id(now_s=5e9)),))
    monkeypatch.setattr(ids, "_last", 0)
    library.revise_setup(setup._replace(name="Two"))

    assert library.setup(setup.id).name == "Two"


def test_copy_takes_lights_and_places_but_no_readings(filled) -> None:
    """A set-up as template: new ids, same lights, reflector fed by the copied source."""
    board = Light(new_id(), filled.setup.id, "Board", "fill", source_light_id=filled.key.id)
    filled.library.add_light(board)
    filled.add()
    copy = filled.library.copy_setup(filled.setup.id, "Copy")
    lights = filled.library.lights(copy.id)

    assert sorted(x.name for x in lights) == ["Board", "Fill", "Key"]
    assert filled.library.light(copy.id, "Board").source_light_id == filled.library.light(copy.id, "Key").id
    assert {p.distance_m for p in filled.library.current_placements(copy.id).values()} == {1.4}
    assert filled.library.all_readings(copy.id) == []
    assert not {x.id for x in lights} & {x.id for x in filled.library.lights(filled.setup.id)}


def test_calibration_comes_back_whole(library: Library) -> None:
    """Every field of a calibration survives, ranges in order."""
    calibration = Calibration(
        new_id(), "a1b2", 1.7e9, 250.0, "flat", (RangeScale(1e5, 0.001, 0.0), RangeScale(2e3, 0.02, 0.03)), 0.07, True,
        "reference meter", 21.5, "serial 12", (1.0, 0.5, -0.25), ((0.0, 1.0), (30.0, 0.97)), {"pairs": [[8.0, 0.41]]},
    )  # fmt: skip
    library.add_calibration(calibration)

    assert library.calibration(calibration.id) == calibration
    assert library.calibrations("a1b2") == [calibration]
    assert library.calibrations() == [calibration]
    assert library.calibrations("other") == []
    with pytest.raises(NotInLibrary):
        library.calibration(new_id())


def test_notes_of_a_key_come_back_oldest_first(library: Library) -> None:
    """Learnt facts are appended; the last of a kind and key is in force."""
    library.add_note("memo", "Big Softbox", {"shift_m": 0.1})
    library.add_note("memo", "big softbox", {"shift_m": 0.2})
    library.add_note("certificate", "dome-1", {"passed": True})

    noted = [("big softbox", {"shift_m": 0.1}), ("big softbox", {"shift_m": 0.2})]
    assert [(key, payload) for key, _, payload in library.note_records("memo")] == noted
    assert [(key, payload) for key, _, payload in library.note_records("certificate")] == [("dome-1", {"passed": True})]
    assert library.note_records("nothing") == []


@pytest.mark.parametrize("payload", [{"a": float("nan")}, {"a": object()}])
def test_notes_that_json_cannot_hold_are_refused(library: Library, payload) -> None:
    """What could not be exported is not stored."""
    with pytest.raises(LibraryError):
        library.add_note("memo", "x", payload)


def test_settings_start_at_the_defaults_and_keep_changes(path) -> None:
    """Changed settings survive, the others follow the design's defaults."""
    with Library.open(path) as library:
        assert library.settings() == Settings()
        library.set_setting("match_tolerance_stops", 0.2)
        library.set_setting("default_receptor", "flat")
    with Library.open(path) as library:
        assert library.settings() == Settings(match_tolerance_stops=0.2, default_receptor="flat")


@pytest.mark.parametrize(
    ("name", "value"),
    [("nonsense", 1), ("min_gap_s", -1), ("min_gap_s", float("nan")), ("min_gap_s", "soon"), ("default_aim", "sky"),
     ("assumed_reach_min_m", 0.5)],
)  # fmt: skip
def test_impossible_settings_are_wrong_use(library: Library, name: str, value) -> None:
    """Unknown names and impossible values are refused and change nothing."""
    with pytest.raises(UsageError):
        library.set_setting(name, value)
    assert library.settings() == Settings()


@pytest.mark.parametrize("value", ["text", "", 3, 2.5, True, ["a", 1], {"left": ["x"]}])
def test_memory_gives_back_what_it_was_given(library: Library, value) -> None:
    """Small local state keeps its type."""
    library.remember("thing", value)
    back = library.recall("thing")

    assert back == value
    assert type(back) is type(value)


def test_memory_forgets(library: Library) -> None:
    """None takes the memory away."""
    library.remember("thing", 1)
    library.remember("thing", None)

    assert library.recall("thing", "default") == "default"


def test_tables_refuse_what_the_records_cannot_mean(filled) -> None:
    """The CHECKs hold even for a program that writes past this code."""
    for sql in (
        "UPDATE reading SET kind = 7", "UPDATE placement SET distance_m = -1", "UPDATE light_version SET role = 99",
        "UPDATE placement SET id = x'00'", "INSERT INTO pop VALUES (1, x'00', 0, 1, 0, 1, 1, 1, 1, 0, 0)",
    ):  # fmt: skip
        filled.add()
        with pytest.raises(sqlite3.IntegrityError):
            filled.library.db.connection.execute(sql)
