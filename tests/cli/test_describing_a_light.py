"""A light described in one line from the kit, by hand or by answers: what is taken, what is said back, what is refused."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from cli_runs import placed

from meterlink.cli.described import role_of

Run = Callable[..., object]


@pytest.fixture
def kit(ml: Run) -> Run:
    """A library whose kit has a head with its dial and an octa that it wears; in use is an empty set."""
    ml("setup", "new", "Old")
    ml(
        "light", "add", "KEY", "--role", "key", "--disk", "90cm", "--distance", "1m", "--fixture", "head A",
        "--modifier", "octa 90", "--power-step", "1/10", "--power-min", "1/256", "--full-power", "400J",
    )  # fmt: skip
    ml("setup", "new", "Today")
    return ml


def test_a_light_of_the_kit_is_described_in_one_short_line(kit: Run) -> None:
    """At most 40 keys; shape, size, head, dial and role are filled in."""
    line = 'light add KEY "octa 90" 1.2m 40 30 1/4'
    assert len(line) + 1 <= 40

    ran = kit("light", "add", "KEY", "octa 90", "1.2m", "40", "30", "1/4")
    light = placed(kit, "KEY")
    place = light["placement"]

    assert ran.code == 0
    assert (light["role"], light["fixture"], light["modifier"], light["full_power_j"]) == ("key", "head A", "octa 90", 400)
    assert (light["power_step_stops"], light["power_min_stops"]) == (0.1, -8)
    assert (place["shape"], place["width_m"], place["distance_m"]) == ("disk", 0.9, 1.2)
    assert (place["azimuth_deg"], place["elevation_deg"], place["power_stops"]) == (40, 30, -2)


def test_the_order_of_words_does_not_matter_and_options_stay(kit: Run) -> None:
    """Words are told apart by their form; a power in joules reads the head's own scale."""
    kit("light", "add", "RIM", "200J", "-50", "OCTA 90", "20 up", "2m", "--grid", "30")
    light = placed(kit, "RIM")
    place = light["placement"]

    assert (light["role"], light["point"], light["modifier"]) == ("rim", "rim", "octa 90")
    assert (place["power_stops"], place["azimuth_deg"], place["elevation_deg"]) == (-1, -50, 20)
    assert (place["distance_m"], place["grid_deg"]) == (2.0, 30)


def test_a_piece_of_the_kit_needs_no_quotes(kit: Run) -> None:
    """Words that together are a name of the kit are that piece, the longest name first; then the angles are what is left."""
    kit("light", "add", "KEY", "octa", "90", "1.2m", "40", "30", "1/4", "head", "A")
    light = placed(kit, "KEY")
    place = light["placement"]
    assert (light["modifier"], light["fixture"]) == ("octa 90", "head A")
    assert (place["width_m"], place["azimuth_deg"], place["elevation_deg"], place["power_stops"]) == (0.9, 40, 30, -2)

    kit("light", "add", "RIM", "--modifier", "Octa 90 grid", "--disk", "90cm", "--distance", "1m")
    kit("light", "add", "FILL", "OCTA", "90", "Grid", "1.4m", "-50")
    assert placed(kit, "FILL")["modifier"] == "Octa 90 grid"
    assert kit("light", "move", "FILL", "octa", "90").code == 0
    assert placed(kit, "FILL")["modifier"] == "octa 90"


def test_a_name_of_two_words_that_the_kit_does_not_have_is_asked_for_in_quotes(kit: Run) -> None:
    """Three bare numbers cannot be two angles: the line says how the name is typed; with two they are the angles."""
    ran = kit("light", "add", "KEY", "dish", "55", "1.2m", "40", "30", "1/4")

    assert ran.code == 2
    assert ran.err == (
        'meterlink: 55, 40, 30 are too many angles: if 55 belongs to the name, put it in quotes: "dish 55"\n'
    )
    kit("light", "add", "KEY", "dish", "55", "30", "1.2m")
    assert placed(kit, "KEY")["placement"]["azimuth_deg"] == 55


def test_a_head_that_stands_in_the_set_is_not_taken_twice(kit: Run) -> None:
    """Two lights with the same modifier have two heads: the second one's is not guessed."""
    kit("light", "add", "KEY", "octa 90", "1m")
    kit("light", "add", "FILL", "octa 90", "1m")

    assert placed(kit, "FILL")["fixture"] == ""
    assert placed(kit, "FILL")["placement"]["width_m"] == 0.9


def test_a_word_said_twice_is_refused(kit: Run) -> None:
    """Two distances are a slip: nothing is added."""
    ran = kit("light", "add", "KEY", "1m", "2m")

    assert ran.code == 2
    assert "two lengths" in ran.err
    assert kit("light", "list", "--json").out.strip() == "[]"


def test_a_new_modifier_is_taken_by_its_name(kit: Run) -> None:
    """A word that is nothing else names a modifier that the kit does not know yet; its size may follow."""
    kit("light", "add", "FILL", "strip", "30x120cm", "2m", "-40")

    light = placed(kit, "FILL")
    assert light["modifier"] == "strip"
    assert (light["placement"]["shape"], light["placement"]["height_m"]) == ("rectangle", 1.2)


def test_moving_takes_no_stray_word_for_a_modifier(kit: Run) -> None:
    """A slip while moving changes nothing."""
    kit("light", "add", "KEY", "octa 90", "1m")
    ran = kit("light", "move", "KEY", "closer")

    assert ran.code == 2
    assert placed(kit, "KEY")["modifier"] == "octa 90"


@pytest.mark.parametrize(
    ("name", "role"), [("KEY", "key"), ("Fill 2", "fill"), ("BG", "background"), ("kicker", "rim"), ("CARD", None), ("7", None)]
)
def test_a_name_says_its_role(name: str, role: str | None) -> None:
    """Names of the trade are enough; others say nothing."""
    assert role_of(name) == role


def test_add_alone_asks_in_turn(kit: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Name, then modifier, distance, direction and power; the answers make the light."""
    asked: list[str] = []
    answers = iter(["KEY", "octa 90", "120 cm", "40 30", "1/4"])

    def answer(question: str) -> str:
        asked.append(question)
        return next(answers)

    monkeypatch.setattr("builtins.input", answer)
    ran = kit("light", "add")

    assert ran.code == 0
    assert len(asked) == 5
    place = placed(kit, "KEY")["placement"]
    assert (place["distance_m"], place["azimuth_deg"], place["elevation_deg"], place["power_stops"]) == (1.2, 40, 30, -2)


def test_nobody_there_to_answer_is_one_line(kit: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """With no terminal behind it, ``light add`` says what to type instead."""

    def nobody(_: str) -> str:
        raise EOFError

    monkeypatch.setattr("builtins.input", nobody)
    ran = kit("light", "add")

    assert ran.code == 2
    assert len(ran.err.splitlines()) == 1


def test_only_the_answer_that_is_wrong_is_asked_for_again(kit: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A role, a modifier, a distance or a power that cannot be is said at once, and what was right stays."""
    answers = iter(["GRID", "foo", "rim", "18", "", "400 99", "1.4m", "40 30", "x/y", "1/16"])
    monkeypatch.setattr("builtins.input", lambda _: next(answers))
    added = kit("light", "add")

    assert added.code == 0
    assert "GRID (rim): small source, 1.40 m from the rim, 40° right, 30° up, power 1/16" in added.out
    assert [line.split(":")[0] for line in added.err.splitlines()] == [
        "there is no role 'foo'",
        "'18' is no name of a modifier or head, nor a size",
        "distance '400 99' cannot be read",
        "power 'x/y' cannot be read",
    ]


def answered(monkeypatch: pytest.MonkeyPatch, *answers: str) -> list[str]:
    """Answer the questions of ``light add`` one after the other; the list that is returned fills with the questions."""
    asked: list[str] = []
    left = iter(answers)

    def answer(question: str) -> str:
        asked.append(question)
        return next(left)

    monkeypatch.setattr("builtins.input", answer)
    return asked


def test_a_number_asked_for_as_power_is_no_angle(ml: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """``6.3`` at the power was stored as an elevation of 6 degrees: it is asked for again, and the option is named."""
    ml("setup", "new", "Potter")
    answered(monkeypatch, "KEY", "60x90cm", "1.2m", "40", "6.3", "1/4")
    said = ml("light", "add")

    light = placed(ml, "KEY")
    place = light["placement"]
    assert "--scale-top" in said.err
    assert (light["modifier"], place["shape"], place["height_m"]) == ("", "rectangle", 0.9)
    assert (place["azimuth_deg"], place["elevation_deg"], place["power_stops"]) == (40, None, -2)


def test_a_number_asked_for_as_power_is_read_on_the_scale_given(ml: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """``light add --scale-top 10`` takes 6.3 as 3.7 stops below full."""
    ml("setup", "new", "Potter")
    answered(monkeypatch, "KEY", "", "1.2m", "40", "6.3")
    ml("light", "add", "--scale-top", "10")
    assert placed(ml, "KEY")["placement"]["power_stops"] == pytest.approx(-3.7)


def test_the_size_of_a_new_modifier_is_asked(ml: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A modifier is no pair of angles; one whose size nobody knows is followed by the question for it; sides are read."""
    ml("setup", "new", "Potter")
    asked = answered(monkeypatch, "FILL", "-40 20", "window", "60 x 90cm", "2m", "left 40 up 20", "")
    said = ml("light", "add")

    light = placed(ml, "FILL")
    place = light["placement"]
    assert "'-40 20' is no name" in said.err
    assert sum("size" in question for question in asked) == 3
    assert (light["modifier"], place["shape"], place["width_m"]) == ("window", "rectangle", 0.6)
    assert (place["azimuth_deg"], place["elevation_deg"]) == (-40, 20)


@pytest.mark.parametrize(("power", "option"), [("--power=6.3", "--scale-top"), ("200J", "--full-power")])
def test_a_power_without_its_scale_names_the_option(ml: Run, power: str, option: str) -> None:
    """What has to be said with 6.3 or 200J is named as it is typed."""
    ml("setup", "new", "Potter")
    said = ml("light", "add", "KEY", "1m", power)
    assert said.code == 2
    assert option in said.err
    assert len(said.err.splitlines()) == 1


def test_a_round_source_may_be_its_diameter_before_the_distance(ml: Run) -> None:
    """``HAIR 18cm 1.1m`` is a disk of 18 cm; larger or apart it has to be said which of the two is what."""
    ml("setup", "new", "Potter")
    assert "HAIR (hair): disk 18 cm, 1.10 m from the hair, 165° right" in ml("light", "add", "HAIR", "18cm", "1.1m", "165").out
    assert "a round source is --disk 18cm" in ml("light", "add", "RIM", "18cm", "165", "1.1m").err
    assert "90cm and 1.2m are two lengths" in ml("light", "add", "RIM", "90cm", "1.2m").err
    assert "see meterlink light add --help" in ml("light", "add", "RIM", "7 thing", "1.2m").err
    assert "said twice" in ml("light", "add", "RIM", "60x90cm", "1m", "1.1m").err


def test_options_may_stand_between_the_words(ml: Run) -> None:
    """``--disk 18cm`` before or between the words of a diagram is the same as behind them."""
    ml("setup", "new", "Potter")
    said = ml("light", "add", "HAIR", "--disk", "18cm", "1.1m", "--bare-looking=no", "165")
    assert "unrecognized" in said.err
    for name, words in (("HAIR", ("--disk", "18cm", "1.1m", "165", "55")), ("HAIR 2", ("1.1m", "--disk=18cm", "165", "55"))):
        assert "disk 18 cm, 1.10 m from the hair, 165° right, 55° up" in ml("light", "add", name, *words).out
    assert ml("light", "move", "HAIR", "--as-metered", "1.2m").code == 0


UNKNOWN = [
    ("octa", "--disk 90cm"), ("strip", "--rectangle 60x90cm"), ("softbox 80cm", "--rectangle 80cmx80cm"),
    ("snoot 18", "--disk 18cm"), ("octa 2", "--disk 90cm"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "option"), UNKNOWN)
def test_a_modifier_of_unknown_size_is_said_to_be_one(ml: Run, name: str, option: str) -> None:
    """A new modifier without a size is corrected as a point: said where it is typed, with the command that mends it."""
    ml("setup", "new", "Potter")
    said = ml("light", "add", "KEY", name, "1.2m", "40", "30", "1/4").out
    command = re.search(r"meterlink (light move KEY .*)", said)
    assert f"the size of '{name}' is not known, a small source is assumed" in said
    assert command is not None
    assert command[1].endswith(option)
    assert ml(*command[1].split()).code == 0
    assert "not known" not in ml("light", "add", "FILL", name, "1.2m", "--disk", "60cm").out


TAKEN = [
    (("octa 90",), "disk", 0.9, None), (("beauty dish 55",), "disk", 0.55, None), (("strip 30x120",), "rectangle", 0.3, 1.2),
    (("strip 30x120cm",), "rectangle", 0.3, 1.2), (("strip 1x4ft",), "rectangle", 0.3048, 1.2192),
    (("softbox 80x80",), "rectangle", 0.8, 0.8), (("--modifier", "octa 120cm"), "disk", 1.2, None),
]  # fmt: skip


@pytest.mark.parametrize(("words", "shape", "width_m", "height_m"), TAKEN)
def test_a_size_in_a_modifier_s_name_is_taken_and_said(
    ml: Run, words: tuple[str, ...], shape: str, width_m: float, height_m: float | None
) -> None:
    """The number behind a round modifier's name, or two with an x, are its size in cm; what was taken is on the screen."""
    ml("setup", "new", "Potter")
    ran = ml("light", "add", "KEY", "1.2m", *words)

    place = placed(ml, "KEY")["placement"]
    assert f"{words[-1]}: taken as {shape}" in ran.out
    assert (place["shape"], place["distance_m"]) == (shape, 1.2)
    assert (place["width_m"], place["height_m"]) == (pytest.approx(width_m), height_m and pytest.approx(height_m))


def test_a_size_behind_a_strip_is_in_cm(ml: Run) -> None:
    """``strip 30x120`` without quotes is what it is with them; a size without a unit is refused where nothing says the unit."""
    ml("setup", "new", "Potter")
    assert "strip: taken as rectangle 30 \u00d7 120 cm" in ml("light", "add", "KEY", "strip", "30x120", "2m").out
    assert ml("light", "add", "FILL", "30x120", "2m").code == 2


def test_a_size_that_is_typed_goes_before_one_in_a_name(ml: Run) -> None:
    """``octa 90`` with ``--disk 95cm`` is 95 cm, and another octa moves to the size in its own name."""
    ml("setup", "new", "Potter")
    assert "taken" not in ml("light", "add", "KEY", "octa 90", "1.2m", "--disk", "95cm").out
    assert placed(ml, "KEY")["placement"]["width_m"] == 0.95
    assert "octa 120: taken as disk 120 cm; --disk otherwise" in ml("light", "move", "KEY", "--modifier", "octa 120").out
    assert placed(ml, "KEY")["placement"]["width_m"] == 1.2


def test_a_round_modifier_stands_before_its_size_and_its_distance(ml: Run) -> None:
    """``octa 90cm 1m`` is 90 cm wide at 1 m; it was a distance said twice."""
    ml("setup", "new", "Potter")
    ml("light", "add", "KEY", "octa", "90cm", "1m")
    place = placed(ml, "KEY")["placement"]
    assert (place["width_m"], place["distance_m"]) == (0.9, 1.0)


@pytest.mark.parametrize("words", [("grid 20",), ("grid", "20"), ("Wabe 20\u00b0",)])
def test_a_grid_is_no_modifier(ml: Run, words: tuple[str, ...]) -> None:
    """``grid 20`` is ``--grid 20``, beside a modifier too; without its degrees it is refused."""
    ml("setup", "new", "Potter")
    assert "grid 20\u00b0" in ml("light", "add", "HAIR", "octa 60", *words, "1.2m", "160").out
    light = placed(ml, "HAIR")
    assert (light["modifier"], light["placement"]["grid_deg"], light["placement"]["azimuth_deg"]) == ("octa 60", 20, 160)
    assert "needs its degrees" in ml("light", "add", "RIM", words[0].split()[0], "1.2m").err


def test_none_takes_a_modifier_off(ml: Run) -> None:
    """``--modifier none`` leaves a bare head, with the size that the modifier had; ``--fixture none`` forgets the head."""
    ml("setup", "new", "Potter")
    ml("light", "add", "HAIR", "octa 60", "1.2m", "--fixture", "head A")
    assert "small source" in ml("light", "move", "HAIR", "--modifier", "none", "--fixture", "None").out

    light = placed(ml, "HAIR")
    assert (light["modifier"], light["fixture"], light["placement"]["shape"]) == ("", "", "point")
    assert light["placement"]["distance_m"] == 1.2


def test_a_second_key_is_measured_from_the_first(ml: Run) -> None:
    """Two lights called key: stops are from the first, which is said, and the second is not shown as 0 stops from itself."""
    ml("setup", "new", "Potter", "--iso", "100")
    ml("light", "add", "KEY", "1.2m", "40", "30", "1/4", "--disk", "90cm")
    second = ml("light", "add", "KEYB", "1.2m", "-40", "30", "1/16", "--disk", "90cm", "--role", "key")
    assert "KEY is the key already" in second.out
    ml("meter", "KEY@0cm", "KEYB@0cm", "--sensor", "sim:")
    first, second = [line for line in ml("ratios").out.splitlines() if line.startswith("KEY")]
    assert re.search(r" 0 +1:1 ", first)
    assert re.search(r" \u22122\.0 ±0\.1 +4:1 ", second)


@pytest.mark.parametrize("words", [("left", "40", "20"), ("left 40", "up 20"), ("20 up", "40", "left"), ("up", "20", "left", "40")])
def test_a_side_may_stand_before_its_degrees(ml: Run, words: tuple[str, ...]) -> None:
    """``left 40`` is ``40 left``: it was stored as 40° right, with a modifier called "left"."""
    ml("setup", "new", "Potter")
    assert ml("light", "add", "FILL", "1.2m", *words).code == 0

    light = placed(ml, "FILL")
    assert (light["modifier"], light["placement"]["azimuth_deg"], light["placement"]["elevation_deg"]) == ("", -40, 20)


def test_a_light_may_be_called_left(ml: Run) -> None:
    """The name of a light is no side of the angle behind it."""
    ml("setup", "new", "Potter")
    assert ml("light", "add", "LEFT", "40", "30", "--role", "key").code == 0
    assert placed(ml, "LEFT")["placement"]["elevation_deg"] == 30


@pytest.mark.parametrize("words", [("left",), ("left", "of", "her"), ("40 left", "30 left")])
def test_a_side_without_degrees_is_no_modifier(ml: Run, words: tuple[str, ...]) -> None:
    """``left`` alone is answered with what to type, and a second azimuth is no elevation; nothing is added."""
    ml("setup", "new", "Potter")
    ran = ml("light", "add", "RIM", "1.2m", *words)

    assert ran.code == 2
    assert "needs its degrees" in ran.err or "azimuth is said twice" in ran.err
    assert ml("light", "list", "--json").out.strip() == "[]"


@pytest.mark.parametrize("language", ["en", "de"])
def test_a_direction_is_typed_as_the_table_prints_it(ml: Run, monkeypatch: pytest.MonkeyPatch, language: str) -> None:
    """German prints "40° links" and takes it, and the English words too."""
    monkeypatch.setenv("METERLINK_LANGUAGE", language)
    ml("setup", "new", "Potter")
    ml("light", "add", "FILL", "1m", "40", "left", "down", "20")
    printed = ml("light", "FILL").out.splitlines()[0].split(", ")[2:4]
    assert (printed[0] == "40° links") == (language == "de")

    assert ml("light", "add", "RIM", "1m", *" ".join(printed).split()).code == 0
    place = placed(ml, "RIM")["placement"]
    assert (place["azimuth_deg"], place["elevation_deg"]) == (-40, -20)


@pytest.mark.parametrize("language", ["en", "de"])
def test_behind_is_typed_as_the_table_prints_it(ml: Run, monkeypatch: pytest.MonkeyPatch, language: str) -> None:
    """Behind the subject is 180 degrees, for which the table has a word; an elevation may follow."""
    monkeypatch.setenv("METERLINK_LANGUAGE", language)
    ml("setup", "new", "Potter")
    ml("light", "add", "HAIR", "1m", "180", "45")
    printed = ml("light", "HAIR").out.splitlines()[0].split(", ")[2]
    assert printed == ("hinten" if language == "de" else "behind")

    assert ml("light", "add", "BG", "2m", printed, "10", "1/8", "--role", "background").code == 0
    place = placed(ml, "BG")["placement"]
    assert (place["azimuth_deg"], place["elevation_deg"]) == (180, 10)
    assert ml("light", "move", "BG", "behind", "40").code == 0
    assert placed(ml, "BG")["placement"]["elevation_deg"] == 40


def test_a_source_has_one_shape(kit: Run) -> None:
    """Two shapes at once are wrong use, and no light is stored."""
    ran = kit("light", "add", "KEY", "--distance", "1m", "--disk", "90cm", "--bare")

    assert ran.code == 2
    assert "--bare" in ran.err
    assert kit("light", "list", "--json").out.strip() == "[]"
