"""An action is a command that the real parsers take, what to touch, or plain words."""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import string

import pytest

from meterlink.cli.main import VERBS, build_parser, overview
from meterlink.words.actions import ACTIONS, USUAL, Do
from meterlink.words.language import Place, spoken_for, use
from mobile import texts

TOUCHED = {
    "All together": "set.sum", "Did it": "match.moved", "Import": "library.import", "Library": "place.library",
    "Light": "lights.add", "Lights": "place.lights", "Match": "place.match", "Meter": "place.metering",
    "Meter all": "metering.start", "Meter it": "lights.meter_this",
    "More": "lights.more", "New set": "library.new", "Open the demo set": "first.demo",
    "Sensors": "place.sensors", "Set": "place.set", "Settings": "place.settings", "Take back": "metering.take_back",
    "Use the simulated sensor": "sensors.simulate",
}  # fmt: skip
"""What is named in the touches of actions, each by the key of the app's text for it."""
NAMED = {"light": "KEY rim's", "setup": "Low key; 2", "lights": ("KEY", "FILL left"), "held": "5cm", "port": "serial:/dev/ttyUSB0"}


def parsed(command: str) -> None:
    """Parse a command line as the program does; help counts as parsed."""
    program, *words = shlex.split(command)
    assert program == "meterlink"
    if words[0] == "--library":
        words = words[2:]
    if words == ["--help"]:
        assert overview()
        return
    assert words[0] in VERBS, command
    heard = io.StringIO()
    code: object = 0
    with contextlib.redirect_stdout(heard), contextlib.redirect_stderr(heard):
        try:
            build_parser(words[0]).parse_args(words[1:])
        except SystemExit as end:
            code = end.code
    assert code == 0, f"{command}: {heard.getvalue()}"


@pytest.mark.parametrize("code", [code for code, words in ACTIONS.items() if words.command])
@pytest.mark.parametrize("values", [{}, NAMED], ids=["usual", "named"])
def test_a_command_parses(code: str, values: dict[str, object]) -> None:
    """What a sentence tells her to type is taken by the program, with names in which a shell would see something else too."""
    parsed(Do(code, **values).command())


@pytest.mark.parametrize("code", ACTIONS)
def test_every_place_of_an_action_has_a_usual_value(code: str) -> None:
    """An action can be put even where no value is known."""
    words = ACTIONS[code]
    for text in words:
        assert {name for _, name, _, _ in string.Formatter().parse(text) if name is not None} <= USUAL.keys()


@pytest.mark.parametrize("where", [Place.PHONE, Place.PAGE, Place.VOICE])
@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("code", ACTIONS)
def test_no_command_is_named_where_nothing_can_be_typed(code: str, language: str, where: Place) -> None:
    """Phone, page and voice say it in words."""
    use(language)
    with spoken_for(where):
        said = str(Do(code))

    assert said
    assert "meterlink" not in said
    assert "--" not in said


def test_names_are_quoted_for_a_shell() -> None:
    """A light's name arrives as one word."""
    assert Do("meter", light="KEY").command() == "meterlink meter KEY"
    assert shlex.split(Do("meter", light="it's; rm").command()) == ["meterlink", "meter", "it's; rm"]


def test_the_same_action_at_each_place() -> None:
    """One action, put for the terminal, for the phone and in words."""
    do = Do("undo")
    assert do.for_place(Place.TERMINAL) == "meterlink undo"
    assert do.for_place(Place.PHONE) == "touch Take back"
    assert do.for_place(Place.PAGE) == "take the last reading back"


def test_what_is_to_be_touched_is_called_as_the_app_calls_it() -> None:
    """Every name in a touch is the text of that button or page, in English and in German."""
    name = re.compile("|".join(sorted(map(re.escape, TOUCHED), key=len, reverse=True)))
    for code, words in ACTIONS.items():
        use("en")
        named = name.findall(words.touch)
        rest = re.sub(r"\{\w+\}", "", name.sub("", words.touch))
        assert not re.search(r"[A-Z]", rest.replace("the ", "")), f"{code}: {words.touch}"
        for one in named:
            assert texts.EN[TOUCHED[one]] == one
        use("de")
        said = Do(code).for_place(Place.PHONE)
        assert all(texts.t(TOUCHED[one]) in said for one in named), f"{code}: {said}"
    use("en")
