"""What people type is taken as they mean it, or answered by one clear line."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from cli_runs import placed

from meterlink.cli.as_typed import as_typed
from meterlink.words.language import use

Run = Callable[..., object]


TYPED = [
    (["--distance", "120", "cm"], ["--distance", "120 cm"]),
    (["--disk", "7", "inch"], ["--disk", "7 inch"]),
    (["--rectangle", "30", "x", "90cm"], ["--rectangle", "30 x 90cm"]),
    (["--shutter", "1/125", "sec"], ["--shutter", "1/125 sec"]),
    (["KEY@20", "cm", "FILL"], ["KEY@20 cm", "FILL"]),
    (["--distance", "-1m"], ["--distance", "\u22121m"]),
    (["KEY2", "s"], ["KEY2", "s"]),
    (["--", "-1", "m"], ["--", "-1", "m"]),
    (["x", "30"], ["x", "30"]),
]


@pytest.mark.parametrize(("words", "meant"), TYPED)
def test_words_that_belong_together_become_one(words: list[str], meant: list[str]) -> None:
    """A unit belongs to the number before it; a light's name with a digit is no number."""
    assert as_typed(words) == meant


LENGTHS = [
    (("120", "cm"), 1.2), (("120 cm",), 1.2), (("7", "inch"), 0.1778), (("7inch",), 0.1778), (("4ft6",), 1.3716),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "metres"), LENGTHS)
def test_a_length_may_have_a_blank_before_its_unit(small_set: Run, typed: tuple[str, ...], metres: float) -> None:
    """``--distance 120 cm`` is 1.2 m, quoted or not."""
    assert small_set("light", "move", "KEY", "--distance", *typed).code == 0
    assert placed(small_set, "KEY")["placement"]["distance_m"] == pytest.approx(metres)


@pytest.mark.parametrize("typed", [("30 x 90cm",), ("30", "x", "90cm"), ("30x90cm",), ("30cm", "x", "90cm")])
def test_a_size_may_have_blanks_around_its_x(small_set: Run, typed: tuple[str, ...]) -> None:
    """``--rectangle 30 x 90cm`` is 0.3 m by 0.9 m."""
    assert small_set("light", "move", "KEY", "--rectangle", *typed).code == 0

    place = placed(small_set, "KEY")["placement"]
    assert (place["shape"], place["width_m"], place["height_m"]) == ("rectangle", 0.3, 0.9)


@pytest.mark.parametrize("words", [("light", "move", "KEY", "1/8"), ("move", "KEY", "1/8"), ("light", "change", "KEY", "1/8")])
def test_a_power_alone_is_the_new_power(small_set: Run, words: tuple[str, ...]) -> None:
    """``move KEY 1/8`` turns the dial and leaves the rest where it was."""
    assert small_set(*words).code == 0

    place = placed(small_set, "KEY")["placement"]
    assert place["power_stops"] == -3
    assert place["distance_m"] == 1.2


def test_move_and_change_are_one_verb(small_set: Run) -> None:
    """Either name takes a role and a distance at once."""
    small_set("light", "change", "FILL", "--distance", "2m", "--role", "Rim")
    small_set("light", "move", "FILL", "--power", "1/2", "--rename", "EDGE")

    light = placed(small_set, "EDGE")
    assert (light["role"], light["placement"]["distance_m"], light["placement"]["power_stops"]) == ("rim", 2.0, -1.0)


def test_a_role_may_have_a_capital(small_set: Run) -> None:
    """``--role Rim`` is a rim light."""
    assert small_set("light", "add", "R", "--role", "Rim", "--distance", "2m").code == 0
    assert placed(small_set, "R")["role"] == "rim"


def test_sim_without_its_colon_is_the_simulated_sensor(small_set: Run) -> None:
    """``--sensor sim`` meters."""
    ran = small_set("meter", "KEY@0", "--sensor", "sim")

    assert ran.code == 0
    assert "KEY" in ran.out


@pytest.mark.parametrize("typed", [("1/125", "sec"), ("1/125 sec",), ("1/125s",)])
def test_a_shutter_time_may_say_its_seconds(small_set: Run, typed: tuple[str, ...]) -> None:
    """``--shutter 1/125 sec`` is 1/128 s, the exact value of that step."""
    small_set("setup", "change", "--shutter", "1/60")
    assert small_set("setup", "change", "--shutter", *typed).code == 0
    assert json.loads(small_set("setup", "show", "--json").out)["shutter_s"] == pytest.approx(1 / 128)


def test_the_source_of_a_reflector_stays_while_that_is_in_the_set(small_set: Run) -> None:
    """At the terminal as in the app: a card without a lamp that fires into it would have a reading that nothing gives."""
    small_set("light", "add", "CARD", "80x120cm", "70cm", "-60", "--role", "fill", "--reflector-of", "KEY")

    card_of_card = small_set("light", "add", "LOW", "60x90cm", "60cm", "50", "--role", "fill", "--reflector-of", "CARD")
    assert (card_of_card.code, "CARD is a reflector itself" in card_of_card.err) == (2, True)
    refused = small_set("light", "remove", "KEY")
    assert (refused.code, "KEY feeds the reflector CARD: take that out first" in refused.err) == (2, True)
    assert small_set("light", "remove", "CARD").code == 0
    assert small_set("light", "remove", "KEY").code == 0


@pytest.mark.parametrize("typed", ["0", "-20", "270"])
def test_a_grid_that_cannot_be_is_answered_by_what_it_takes(small_set: Run, typed: str) -> None:
    """No column of the library and no limit of its own check: the angle of a grid is between 0 and 180 degrees."""
    ran = small_set("light", "move", "KEY", f"--grid={typed}")

    assert ran.code == 2
    assert "its angle in degrees, e.g. 40" in ran.err


@pytest.mark.parametrize("words", [("--distance", "-1m"), ("--distance=-1m",), ("-1m",)])
def test_a_negative_distance_is_answered_as_one(small_set: Run, words: tuple[str, ...]) -> None:
    """Not "expected one argument": the line says that it is negative."""
    ran = small_set("light", "move", "KEY", *words)

    assert ran.code == 2
    assert "negative" in ran.err
    assert len(ran.err.splitlines()) == 1


def test_a_negative_angle_or_power_needs_no_equals_sign(small_set: Run) -> None:
    """``--azimuth -30deg --power -1/3`` are values, not options."""
    assert small_set("light", "move", "KEY", "--azimuth", "-30deg", "--power", "-2.3").code == 0

    place = placed(small_set, "KEY")["placement"]
    assert (place["azimuth_deg"], place["power_stops"]) == (-30, -2.3)


def test_a_light_s_name_alone_shows_it(small_set: Run) -> None:
    """``light KEY`` says where it stands; ``light`` lists all."""
    assert "KEY (key): disk 90 cm, 1.20 m" in small_set("light", "KEY").out
    assert small_set("light").out == small_set("light", "list").out


@pytest.mark.parametrize("typed", ["ratios", "checks", "undo", "sheet", "export -o a.csv --replace"])
def test_a_set_up_is_named_by_its_name_alone(
    small_set: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, typed: str
) -> None:
    """As ``match`` takes it, in any capitals, before options or behind them, as after ``--setup``; another name is answered."""
    monkeypatch.chdir(tmp_path)
    small_set("setup", "new", "Other day")
    verb, *more = typed.split()
    ways = [(), ("potter", *more), (*more, "POTTER"), (*more, "--setup", "Potter")]
    in_use, *said = (small_set(verb, *(words or more)) for words in ways)

    assert len({(ran.code, ran.out, ran.err) for ran in said}) == 1
    assert "unrecognized" not in said[0].err
    assert said[0] != in_use or verb == "export"
    assert "there is no set-up 'nobody'" in small_set(verb, *more, "nobody").err


def test_a_copy_without_a_name_is_called_so(small_set: Run) -> None:
    """``setup copy Potter`` makes "Potter copy", then "Potter copy 2"."""
    assert "Potter copy:" in small_set("setup", "copy", "Potter").out
    assert "Potter copy 2:" in small_set("setup", "copy", "Potter").out


def test_a_reading_is_reassigned_with_its_distance(small_set: Run) -> None:
    """``reassign FILL@30cm`` gives the pop to FILL, held off 30 cm."""
    small_set("meter", "KEY@0", "--sensor", "sim:?every=0.2")

    ran = small_set("reassign", "FILL@30cm")
    rows = {row["light"]: row for row in json.loads(small_set("ratios", "--json").out)}

    assert ran.code == 0
    assert rows["FILL"]["correction_stops"] < -0.3
    assert rows["KEY"]["corrected_f"] is None


@pytest.mark.parametrize("words", [("--room", "on"), ("--room", "--lamps", "on")])
def test_room_light_takes_its_lamps_directly(small_set: Run, words: tuple[str, ...]) -> None:
    """``meter --room on`` is room light with the modelling lamps burning."""
    ran = small_set("meter", *words, "--sensor", "sim:")

    assert ran.code == 0
    assert "modelling lamps on" in ran.out


def test_none_takes_a_gel_away(small_set: Run) -> None:
    """``--gel none`` and ``--grid none`` remove what was there."""
    small_set("light", "move", "KEY", "--gel", "half CTO", "--grid", "40")
    small_set("light", "move", "KEY", "--gel", "none", "--grid", "None")

    place = placed(small_set, "KEY")["placement"]
    assert (place["gel"], place["grid_deg"]) == ("", None)


def test_a_sheet_that_should_be_a_pdf_says_how(small_set: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No page of HTML is written under the name of a PDF."""
    monkeypatch.chdir(tmp_path)
    ran = small_set("sheet", "-o", "foo.pdf")

    assert ran.code == 2
    assert "foo.html" in ran.err
    assert not (tmp_path / "foo.pdf").exists()


def test_a_csv_is_not_imported_and_that_is_said(small_set: Run, tmp_path: Path) -> None:
    """``import x.csv`` names what can be imported instead."""
    path = tmp_path / "x.csv"
    small_set("export", str(path))
    path.write_text("light,f\nKEY,8\n")
    ran = small_set("import", str(path))

    assert ran.code == 1
    assert len(ran.err.splitlines()) == 1
    assert "CSV" in ran.err
    assert ".json" in ran.err


def test_a_library_that_is_not_there_is_not_merged(small_set: Run, tmp_path: Path) -> None:
    """``merge missing`` says so in one line and makes no file."""
    ran = small_set("merge", str(tmp_path / "missing"))

    assert ran.code == 2
    assert len(ran.err.splitlines()) == 1
    assert "missing" in ran.err
    assert not (tmp_path / "missing").exists()


@pytest.mark.parametrize("words", [("meter",), ("light", "move")])
def test_help_may_stand_before_the_verb(ml: Run, words: tuple[str, ...]) -> None:
    """``help meter`` is ``meter --help``, for an action too."""
    ran = ml("help", *words)

    assert ran.code == 0
    assert ran.out == ml(*words, "--help").out
    assert f"usage: meterlink {' '.join(words)}" in ran.out


def test_the_lights_are_one_table_wherever_they_are_shown(small_set: Run) -> None:
    """``setup show`` ends with what ``light list`` prints."""
    assert small_set("setup", "show").out.endswith(small_set("light", "list").out)


def test_undo_takes_a_distance_back_that_was_said_last(small_set: Run) -> None:
    """Right after ``held`` the distance before holds again, and is said with what the light reads then; the pop stays."""
    small_set("meter", "KEY@5cm", "--sensor", "sim:?every=0.9")
    small_set("held", "KEY", "20cm")
    said = small_set("undo").out

    assert said.startswith("KEY: held off 20 cm is taken back; as before: held off 5.0 cm: f/")
    assert small_set("undo").out.startswith("taken back: KEY f/")


def test_that_no_distance_is_given_is_said_once(small_set: Run) -> None:
    """The reading's own reason says it: neither taking a distance back nor saying that it is not known says it as well."""
    small_set("light", "move", "KEY", "--distance", "1.2m")
    small_set("meter", "KEY", "--sensor", "sim:?every=0.9")
    small_set("held", "KEY", "20cm")
    undone, unsaid = small_set("undo").out, small_set("held", "KEY", "--not-given").out

    assert undone.startswith("KEY: held off 20 cm is taken back: f/")
    assert unsaid.startswith("KEY: f/")
    assert [text.count("not given") for text in (undone, unsaid)] == [1, 1]


def test_undo_says_what_counts_again(small_set: Run) -> None:
    """A reassigned pop taken back: both lights read what they read before, and nothing is to be metered."""
    small_set("meter", "KEY@0cm", "FILL@0cm", "--sensor", "sim:")
    small_set("meter", "KEY@0cm", "--sensor", "sim:")
    small_set("reassign", "FILL")
    said = small_set("undo").out
    assert "it has what it read before: f/" in said
    assert "KEY has its pop again: f/" in said
    assert "meter it again" not in said


def test_archived_set_ups_are_not_none(small_set: Run) -> None:
    """A list that is empty because all is archived, or nothing fits the search, says so."""
    small_set("setup", "archive", "Potter")
    assert "every set-up is archived (1): meterlink setup list --archived" in small_set("setup", "list").out
    assert "no set-up has 'zebra' in it" in small_set("setup", "list", "--search", "zebra").out


def test_a_change_of_a_set_up_is_answered_with_all_of_it(small_set: Run) -> None:
    """What was changed is on the screen: camera and facts."""
    assert "sync speed: 1/250 s" in small_set("setup", "change", "--sync", "1/250").out


def test_a_document_is_imported_not_merged(small_set: Run, tmp_path: Path) -> None:
    """``merge set.json`` says which verb takes it."""
    small_set("export", "-o", str(tmp_path / "set.json"))
    assert f"meterlink import {tmp_path / 'set.json'}" in small_set("merge", str(tmp_path / "set.json")).err


def test_a_restored_library_says_how_to_go_back(small_set: Run, tmp_path: Path) -> None:
    """What stood there is counted, and the command that brings it back does."""
    small_set("setup", "new", "Baker")
    small_set("store", "copy", str(tmp_path / "copy.sqlite"))
    small_set("setup", "new", "Cooper")
    said = small_set("store", "restore", str(tmp_path / "copy.sqlite")).out
    assert "what stood there (3 set-ups" in said
    back = said.split("meterlink store restore ")[1].split()[0]
    assert "Cooper" not in small_set("setup", "list").out
    assert small_set("store", "restore", back).code == 0
    assert "Cooper" in small_set("setup", "list").out


@pytest.mark.parametrize("typed", ["full", "voll"])
def test_german_names_full_power_and_what_is_known_in_german(small_set: Run, tmp_path: Path, typed: str) -> None:
    """Where a power, a point or a movement is shown; the word can be typed as it is shown."""
    use("de")
    assert "Leistung voll" in small_set("light", "move", "KEY", typed).out
    small_set("light", "move", "FILL", "--power", "1/4")
    said = small_set("setup", "change", "--movement", "hands").out
    shown = [small_set(*words).out for words in (("light", "list"), ("light", "KEY"), ("setup", "copy", "Potter", "Tag 2"))]
    small_set("light", "move", "KEY", "1/2")
    small_set("sheet", "-o", str(tmp_path / "a.html"), "--setup", "Potter")

    assert "Bewegung: Hände" in said
    assert "Punkt: Gesicht" in shown[1]
    assert [line.split() for line in small_set("compare", "Potter").out.splitlines()][1] == ["KEY", "Leistung", "voll", "1/2"]
    assert " voll" in shown[0]
    assert ">voll<" in (tmp_path / "a.html").read_text(encoding="utf-8")
    assert not re.search(r"\b(full|face|hands)\b", said + "".join(shown))


def test_german_writes_every_figure_with_a_comma(small_set: Run) -> None:
    """A set with an aperture, a typed power and a reading each of f/5.6 or so: no line of any table mixes signs."""
    use("de")
    small_set("setup", "change", "--aperture", "f/5.6")
    small_set("light", "move", "KEY", "1/4+0.3")
    small_set("meter", "KEY@5cm", "FILL@5cm", "--sensor", "sim:?every=0.9")
    verbs = ("setup show", "ratios", "checks", "targets KEY=f/5.6 FILL=-1.3", "held KEY 7cm")
    said = [small_set(*verb.split()).out for verb in verbs]

    assert "f/5,6" in said[0]
    assert "1/4+0,3" in said[0]
    shown = [line.partition("meterlink ")[0].replace("t0.", "") for line in "\n".join(said).splitlines()]
    assert not [line for line in shown if re.search(r"[0-9]\.[0-9]", line)]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("light", "move", "KEY", "--azimuth", "40 up"), "angle '40 up' is an elevation, no azimuth: type 45, -30"),
        (("light", "move", "KEY", "--elevation", "left 30"), "angle 'left 30' is an azimuth, no elevation: type 45, -30"),
        (("--library", "", "setup", "new", "Elsewhere"), "--library '' names no file"),
        (("watch", "--sensor", "sim:", "--seconds", "nan"), "--seconds: 'nan' cannot be: give 0.1 to 1e+06"),
        (("watch", "--sensor", "sim:", "--pops", "-1"), "--pops: '−1' cannot be: give 1 to 1e+06"),
        (("calibrate", "--reference", "m", "--constant", "0"), "--constant: '0' cannot be: give 50 to 2000"),
        (("calibrate", "--reference", "m", "--u-reference", "nan"), "--u-reference: 'nan' cannot be"),
        (("calibrate", "--reference", "m", "--levels", "0"), "--levels: '0' cannot be"),
        (("calibrate", "--reference", "m", "--sensor", "sim:", "--light-distance", "x"), "distance 'x' cannot be read"),
        (("calibrate", "--reference", "m", "--sensor", "sim:", "--response", "none.csv"), "none.csv cannot be read"),
        (("verify", "--design", "nan"), "--design: 'nan' cannot be"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_before_anything_is_done(ml: Run, small_set: Run, words: tuple[str, ...], said: str) -> None:
    """A side for a height, an empty name, no number: one line, exit code 2, nothing written, and no walk of half an hour first."""
    before = small_set("light", "list", "--json").out, small_set("setup", "list").out

    told = ml(*words)

    assert (told.code, told.err.count("\n")) == (2, 1)
    assert said in told.err
    assert (small_set("light", "list", "--json").out, small_set("setup", "list").out) == before


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (("setup", "change", "--iso", ""), "ISO is empty"),
        (("setup", "change", "--shutter", ""), "shutter time is empty"),
        (("setup", "change", "--filter", ""), "filter is empty"),
        (("setup", "change", "--rename", ""), "a set-up needs a name"),
        (("setup", "new", "-weird"), "'-weird' is no option, and no name begins so: see meterlink setup new --help"),
        (("setup", "new"), "name is missing: see meterlink setup new --help"),
        (("setup", "frob"), "there is no 'frob' here, only new, list, show"),
        (("calibrate", "frob"), "there is no 'frob' here, only scale, zero, angle"),
        (("meter", "KEY", "--receptor", "x"), "--receptor: there is no 'x' here, only dome, flat: see meterlink meter --help"),
        (("light", "move", "KEY", "power"), "'power' is no distance"),
    ],
)
def test_what_is_wrong_is_said_in_our_own_words(small_set: Run, typed: tuple[str, ...], says: str) -> None:
    """An empty value is not taken for none, and nobody is told of arguments and choices."""
    ran = small_set(*typed)

    assert ran.code == 2
    assert ran.err.startswith(f"meterlink: {says}")


@pytest.mark.parametrize(
    ("typed", "shown"),
    [("1m40", "1.40 m"), ("behind", "behind"), ("--azimuth behind", "behind"), ("half", "power half"),
     ("power half", "power half"), ("half power", "power half"), ("power 1/2", "power 1/2"), ("quarter power 2m", "power quarter")],
)  # fmt: skip
def test_a_light_is_moved_as_it_is_said(small_set: Run, typed: str, shown: str) -> None:
    """Metres with centimetres behind them, the side that the lists show, a power in words."""
    ran = small_set("light", "move", "KEY", *typed.split())

    assert ran.code == 0, ran.err
    assert shown in ran.out


def test_two_sets_of_one_name_are_told_apart_in_the_list(small_set: Run, tmp_path: Path) -> None:
    """Merged libraries have two of one name: each has a short id then, good wherever a name is; unique names have none."""
    assert "id" not in small_set("setup", "list").out.split()
    other = str(tmp_path / "other.sqlite")
    small_set("--library", other, "setup", "new", "potter", "--iso", "400")
    small_set("--library", other, "setup", "new", "Dancer")
    small_set("merge", other)

    head, *rows = small_set("setup", "list").out.splitlines()

    assert head.split()[-1] == "id"
    assert "Dancer" in rows[0]
    assert re.fullmatch(r"   Dancer .* 0", rows[0])
    newer, older = (row.split()[-1] for row in rows[1:])
    assert 8 <= len(newer) < 32
    assert small_set("ratios", "potter").err.replace("\n  ", " ").count(newer) >= 1
    assert "ISO 400" in small_set("setup", "show", newer).out
    assert "ISO 100" in small_set("setup", "show", older).out
    assert small_set("ratios", older).out.startswith("Potter\n")


@pytest.mark.parametrize("words", ["setup list", "kit list", "calibrate --list", "compare A B", "match A"])
def test_to_look_makes_no_library(ml: Run, tmp_path: Path, words: str) -> None:
    """Of a mistyped name it is said that there is none, and no empty file lies there afterwards."""
    typo = tmp_path / "lbrary.sqlite"

    told = ml("--library", str(typo), *words.split())

    assert (told.code, told.err.count("\n"), typo.exists()) == (2, 1, False)
    assert "there is no library at " in told.err


def test_a_temperature_below_zero_is_a_number(ml: Run) -> None:
    """Its minus had been taken for no number at all."""
    told = ml("calibrate", "--reference", "m", "--temperature", "-5", "--sensor", "sim:?every=0", "--response", "none.csv")

    assert "none.csv cannot be read" in told.err


def test_held_takes_a_light_with_its_distance_as_meter_does(small_set: Run) -> None:
    """``held KEY@30cm`` is ``held KEY 30cm``; said twice, or not at all, it is asked for."""
    small_set("meter", "KEY@20cm", "FILL", "--sensor", "sim:?lights=KEY,FILL")

    assert "held off 30 cm" in small_set("held", "KEY@30cm").out
    for words in (("KEY",), ("KEY@30cm", "20cm"), ("KEY@30cm", "--not-given"), ("KEY", "20cm", "--not-given")):
        told = small_set("held", *words)
        assert (told.code, "say how far" in told.err) == (2, True)
