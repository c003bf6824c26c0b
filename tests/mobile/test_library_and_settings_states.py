"""The library page and the settings page, without a window."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from meterlink.errors import MeterlinkError, UsageError
from meterlink.library.store import Library
from mobile import library_state, settings_state
from mobile.desk import Desk


def test_set_ups_are_listed_newest_first_with_date_and_number_of_lights(metered) -> None:
    """The one in use is marked."""
    one = metered(2)
    one.desk.new_set("Second", [("KEY", "key")])

    cards = library_state.library_look(one.desk).cards

    assert [(c.name, c.current) for c in cards] == [("Second", True), ("Set", False)]
    assert cards[0].line.startswith("open ")
    assert [len(c.line.removeprefix("open ")) for c in cards] == [10, 10]


def test_search_finds_words_of_name_subject_and_notes(metered) -> None:
    """All words must fit; nothing found says so in words."""
    one = metered(1)
    one.desk.revise_setup(subject="Dancer", notes="low key, two strips")

    assert len(library_state.library_look(one.desk, "dancer STRIPS").cards) == 1
    missing = library_state.library_look(one.desk, "nobody")
    assert missing.cards == ()
    assert "nobody" in missing.note


def test_a_long_search_is_cut_not_an_error(metered) -> None:
    """A hostile search text of a megabyte is only a search."""
    assert library_state.library_look(metered(1).desk, "x" * 1_000_000).cards == ()


def test_a_long_library_is_there_whole(metered) -> None:
    """However many set-ups there are, each is in the list."""
    one = metered(0)
    before = len(library_state.library_look(one.desk).cards)
    for _ in range(60):
        one.desk.new_set("Set")

    assert len(library_state.library_look(one.desk).cards) == before + 60


def test_put_away_can_be_undone(metered) -> None:
    """Out of the list, and into it again."""
    one = metered(1)
    first = one.desk.shot.setup.id
    one.desk.new_set("Second")
    library_state.archive(one.desk, first)
    assert first not in [c.setup_id for c in library_state.library_look(one.desk).cards]

    library_state.archive(one.desk, first, back=True)

    assert first in [c.setup_id for c in library_state.library_look(one.desk).cards]


def test_a_set_is_named_noted_and_tagged(metered) -> None:
    """As typed; a name that another set has is refused, and tags stand once each."""
    one = metered(1)
    library_state.describe(one.desk, "name", "  Low  key ")
    library_state.describe(one.desk, "notes", "two strips")
    library_state.describe(one.desk, "tags", "dance, low key, dance,")

    setup = one.desk.shot.setup
    assert (setup.name, setup.notes, setup.tags) == ("Low key", "two strips", ("dance", "low key"))
    one.desk.new_set("Other")
    with pytest.raises(UsageError):
        library_state.describe(one.desk, "name", "LOW KEY")


def test_a_thumbnail_shows_placed_lights_with_the_camera_down(metered) -> None:
    """Camera right is right, the camera's side is down, unplaced lights are left out."""
    one = metered(2)
    one.desk.move_light(one.id_of("KEY"), distance_m=1.0, azimuth_deg=45.0)

    (dot,) = library_state.plan_dots(one.desk.library, one.desk.shot.setup)

    assert dot.key
    assert dot.x > 0 > dot.y


def test_a_stamp_follows_what_was_moved_while_its_set_was_in_use(metered) -> None:
    """Seen before and kept, then used, moved and left without a look at the list: it shows the lights where they are."""
    one = metered(1)
    first = one.desk.shot.setup
    one.desk.move_light(one.id_of("KEY"), distance_m=1.0, azimuth_deg=45.0)
    other = one.desk.new_set("Other").setup
    library_state.library_look(one.desk)
    one.desk.use(first.id)
    one.desk.move_light(one.id_of("KEY"), azimuth_deg=-45.0)
    one.desk.use(other.id)

    card = next(card for card in library_state.library_look(one.desk).cards if card.setup_id == first.id)
    assert card.plan[0].x < 0


@pytest.mark.parametrize(
    "name", ["Low key, two strips", "../../etc/passwd", "a/b\\c:d*?", "...", "日本", "x" * 300, "CON "]
)
def test_an_exported_file_has_a_name_that_stays_in_its_folder(name: str) -> None:
    """No separators, no dots at the start, not too long."""
    made = library_state.export_name(name)

    assert Path(made).name == made
    assert not made.startswith(".")
    assert len(made) < 100


def test_what_was_exported_is_imported_elsewhere_whole(metered, tmp_path: Path) -> None:
    """A set-up written as a file comes back with its lights and readings in another library; twice adds nothing."""
    one = metered(2)
    one.pop(640.0)
    first = library_state.export_setup(one.desk, one.desk.shot.setup.id, tmp_path)
    second = library_state.export_setup(one.desk, one.desk.shot.setup.id, tmp_path)
    other = Desk(Library.open(tmp_path / "other.db"))

    library_state.import_file(other, first)
    library_state.import_file(other, first)

    assert first != second
    assert json.loads(first.read_text(encoding="utf-8"))
    (setup,) = other.library.setups()
    assert len(other.library.lights(setup.id)) == 2
    assert len(other.library.readings(setup.id)) == 1
    other.close()


@pytest.mark.parametrize("content", [None, "", "{}", "[1, 2", "\x00\x01"])
def test_a_file_that_is_none_is_refused_and_nothing_is_taken(metered, tmp_path: Path, content: str | None) -> None:
    """Missing, empty, foreign or damaged: one line, and the library is as before."""
    one = metered(1)
    path = tmp_path / "file.json"
    if content is not None:
        path.write_text(content, encoding="utf-8")

    with pytest.raises(MeterlinkError) as refused:
        library_state.import_file(one.desk, path)

    assert "\n" not in str(refused.value)
    assert len(one.library.setups()) == 1


def test_no_path_and_no_folder_are_refused(metered, tmp_path: Path) -> None:
    """An empty path and a folder that is not there say what to do."""
    one = metered(1)

    with pytest.raises(UsageError, match="type the path"):
        library_state.import_typed(one.desk, "  ")
    with pytest.raises(UsageError, match="there is no folder"):
        library_state.export_setup(one.desk, one.desk.shot.setup.id, tmp_path / "none")


def test_a_set_up_in_use_is_not_put_away(metered) -> None:
    """Another one is: it leaves the list and stays in the library."""
    one = metered(1)
    first = one.desk.shot.setup.id
    with pytest.raises(UsageError, match="is in use"):
        library_state.archive(one.desk, first)
    one.desk.new_set("Second")

    library_state.archive(one.desk, first)

    assert [c.name for c in library_state.library_look(one.desk).cards] == ["Second"]
    assert one.library.setup(first).archived


# -- settings


@pytest.mark.parametrize(
    ("entry", "text", "read"),
    [
        ("iso", "200", lambda d: d.shot.setup.iso == 200.0),
        ("iso", "ISO 1250", lambda d: abs(d.shot.setup.iso - 100 * 2 ** (11 / 3)) < 0.1),  # 1250 is 100 · 2^(11/3)
        ("shutter", "1/160", lambda d: d.shot.setup.shutter_s is not None),
        ("shutter", "", lambda d: d.shot.setup.shutter_s is None),
        ("camera_offset", "−0.3", lambda d: d.shot.setup.camera_offset_stops == -0.3),
        ("filter", "2", lambda d: d.shot.setup.filter_stops == 2.0),
        ("match_tolerance", "1/3", lambda d: abs(d.library.settings().match_tolerance_stops - 1 / 3) < 1e-9),
        ("assumed_reach", "8", lambda d: abs(d.library.settings().assumed_reach_max_m - 0.08) < 1e-9),
        ("min_gap", "1,2 s", lambda d: d.library.settings().min_gap_s == 1.2),
    ],
)
def test_an_entry_takes_what_is_typed(metered, entry: str, text: str, read) -> None:
    """What was typed is in the set-up or the library's limits at once."""
    one = metered(1)

    settings_state.enter(one.desk, entry, text)

    assert read(one.desk)


@pytest.mark.parametrize(
    ("entry", "text"),
    [
        ("iso", "many"),
        ("iso", "0"),
        ("iso", "-100"),
        ("shutter", "1/0"),
        ("shutter", "soon"),
        ("camera_offset", "50"),
        ("filter", "-1"),
        ("match_tolerance", "0"),
        ("match_tolerance", "100"),
        ("corrected_limit", "x"),
        ("assumed_reach", "3m"),
        ("min_gap", "-1"),
        ("min_gap", "nan"),
    ],
)
def test_an_entry_refuses_what_cannot_be(metered, entry: str, text: str) -> None:
    """One line; settings and set-up stay as they were."""
    one = metered(1)
    before = (one.desk.shot.setup, one.library.settings(), one.desk.prefs)

    with pytest.raises(MeterlinkError) as refused:
        settings_state.enter(one.desk, entry, text)

    assert "\n" not in str(refused.value)
    assert (one.desk.shot.setup, one.library.settings(), one.desk.prefs) == before


def test_every_choice_of_the_page_can_be_taken_and_is_remembered(metered) -> None:
    """Each option of each choice is accepted and comes back as chosen."""
    one = metered(1)
    for choice in settings_state.settings_look(one.desk.shot, one.library.settings()).choices:
        for value, text in choice.options:
            settings_state.choose(one.desk, choice.name, value)
            again = settings_state.settings_look(one.desk.shot, one.library.settings())

            assert text
            assert next(c.chosen for c in again.choices if c.name == choice.name) == value


def test_without_a_set_the_camera_is_for_new_ones(metered) -> None:
    """ISO typed before there is a set goes into the next one."""
    one = metered(0)
    settings_state.enter(one.desk, "iso", "400")

    one.desk.new_set("Set", [("KEY", "key")])

    assert one.desk.shot.setup.iso == 400.0
