"""What there is to say is a code with values everywhere but in words/; every code has its phrase, every place its value."""

from __future__ import annotations

import ast
import re
import string
from collections.abc import Iterator
from pathlib import Path

import pytest

from meterlink.sensor.dialects.messages import range_names
from meterlink.simulation.chip_model import SIMULATED
from meterlink.words.actions import Do
from meterlink.words.language import use
from meterlink.words.phrases import PHRASES, calibration, checks, faults, judging, library, measuring, metering, steps, tables
from meterlink.words.told import NOTHING, Told, all_of, told, written

PACKAGE = Path(__file__).parents[2] / "meterlink"
ROOMS = ("photometry", "judging", "tables", "checks", "metering", "sensor/measuring", "calibration")
CODES = frozenset({"meterlink.words.told", "meterlink.words.actions"})
"""What a room of the domain may take from words: codes with values, actions, how a record keeps them."""
NO_SENTENCE = 5
"""So many words with a blank between them make a sentence; fewer are a name."""
MADE_UP = {f"held_{way}" for way in ("light", "up", "down", "camera", "left", "right")}


def places(template: str) -> set[str]:
    """Names of the places of a template."""
    return {name for _, name, _, _ in string.Formatter().parse(template) if name}


def calls(path: Path) -> Iterator[tuple[int, list[str], set[str], bool]]:
    """Yield line, codes, names of values and whether there are more of them, for each ``told(...)`` of a module."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "told" and node.args:
            names = {word.arg for word in node.keywords if word.arg}
            yield node.lineno, _codes(node.args[0]), names, any(word.arg is None for word in node.keywords)


def _codes(node: ast.expr) -> list[str]:
    """The codes that an argument may be; none for one that is put together."""
    if isinstance(node, ast.IfExp):
        return _codes(node.body) + _codes(node.orelse)
    return [node.value] if isinstance(node, ast.Constant) and isinstance(node.value, str) else []


def modules() -> list[Path]:
    """Modules that say something by a code."""
    return sorted(path for path in PACKAGE.rglob("*.py") if "told(" in path.read_text("utf-8"))


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_every_code_that_is_told_has_its_phrase_and_its_values(path: Path) -> None:
    """A code without a phrase, or a phrase with a place that gets no value, would only be seen on set."""
    for line, codes, names, more in calls(path):
        for code in codes:
            assert code in PHRASES, f"{path.name}:{line}: {code}"
            assert more or places(PHRASES[code]) <= names, f"{path.name}:{line}: {code}"


def test_no_phrase_is_written_twice() -> None:
    """Each code stands in one file, and each text behind one code, whatever its places are called."""
    files = [one.PHRASES for one in (calibration, checks, faults, judging, library, measuring, metering, steps, tables)]

    assert sum(map(len, files)) == len(PHRASES)
    texts = [re.sub(r"\{\w+", "{", phrase) for phrase in PHRASES.values() if re.sub(r"\{[^}]*\}|[: ]", "", phrase)]
    assert not [text for text in texts if texts.count(text) > 1]


def test_every_phrase_is_used() -> None:
    """A phrase that nothing says is not kept, nor translated."""
    source = "".join(path.read_text("utf-8") for path in PACKAGE.rglob("*.py") if "phrases" not in path.parts)
    built = ("dome_", "held_", "wait_", "logged_", "against_", "aim_", "shared_", "gel_", "all_alike_", "most_alike_",
             "remedy of ", "light_", "add_step_", "row_add_", "claim_")  # fmt: skip
    unused = [
        code for code in PHRASES
        if f'"{code}"' not in source and f"'{code}'" not in source and not code.startswith(built) and not code.endswith("_else")
    ]  # fmt: skip

    assert not unused


def sentences(path: Path) -> Iterator[tuple[int, str]]:
    """Yield what looks like English for a reader: texts of several words that are no docstring and no error."""
    tree = ast.parse(path.read_text("utf-8"))
    skipped: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            skipped.add(id(node.value))
        raised = isinstance(node, ast.Raise | ast.Assert)
        if raised or (isinstance(node, ast.Call) and _name(node).endswith(("Error", "Failed", "InLibrary", "say"))):
            skipped |= {id(one) for one in ast.walk(node)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in skipped:
            words = re.findall(r"[A-Za-z]{2,}", node.value)
            sentence = len(words) >= NO_SENTENCE and " " in node.value.strip()
            named = node.value in faults.FAULTS or "[" in node.value
            if not named and (sentence or re.search(r"\bmeterlink [a-z]", node.value)):
                yield node.lineno, node.value


def _name(call: ast.Call) -> str:
    return call.func.id if isinstance(call.func, ast.Name) else call.func.attr if isinstance(call.func, ast.Attribute) else ""


@pytest.mark.parametrize("room", ROOMS)
def test_no_sentence_and_no_command_stands_in_a_room_of_the_domain(room: str) -> None:
    """They carry codes with numbers; what is raised is an error's template, as everywhere."""
    found = [f"{path.name}:{line}: {text}" for path in sorted((PACKAGE / room).rglob("*.py")) for line, text in sentences(path)]

    assert not found


@pytest.mark.parametrize("room", ["calibration", "judging", "checks"])
def test_a_room_of_the_domain_takes_codes_alone_from_words(room: str) -> None:
    """It imports neither the language nor what makes sentences of codes."""
    taken = {
        f"{path.name}: {node.module}"
        for path in (PACKAGE / room).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("meterlink.words") and node.module not in CODES
    }

    assert not taken


def test_nothing_reads_a_sentence() -> None:
    """No front end looks for words in what was said: it asks for kind, code, numbers and action."""
    said = r"\.(?:advice|reason|message|sentence|missing|text)"
    whose = "(?:finding|found|outcome|row|judged|state)"
    reading = re.compile(rf'" in [^#]*{said}\b|{whose}{said}\.(?:startswith|partition|find|split)\(')
    folders = (PACKAGE, PACKAGE.parent / "mobile")
    found = [
        f"{path.name}: {line.strip()}"
        for folder in folders
        for path in folder.rglob("*.py")
        for line in path.read_text("utf-8").splitlines()
        if reading.search(line)
    ]

    assert not found


def test_values_are_written_as_people_write_them() -> None:
    """Units and signs come from the phrase, the decimal sign from the language."""
    said = told("held_light", receptor=told("dome"), held_off_m=0.2, point="face")

    use("en")
    assert str(said) == "dome 20 cm in front of the face"
    assert str(told("under", light="KEY", stops=-0.31, u95=0.2)) == "KEY is 0.3 stop under (± 0.2)"
    assert [written(duv, "duv") for duv in (-0.00002, 0.0021, -0.002)] == ["0.0000", "+0.0021", "−0.0020"]
    use("de")
    assert "0,3" in str(told("under", light="KEY", stops=-0.31, u95=0.2))


def test_an_amount_of_stops_has_its_plural() -> None:
    """One stop and less of it is singular, with a sign or without; German writes it in one way."""
    words = [written(stops, spec) for spec in ("stops_word", "signed_word") for stops in (0.1, -1.04, 1.06, -2.0)]

    assert words == ["0.1 stop", "1.0 stop", "1.1 stops", "2.0 stops", "+0.1 stop", "−1.0 stop", "+1.1 stops", "−2.0 stops"]
    assert str(told("over", light="KEY", stops=2.0, u95=0.1)) == "KEY is 2.0 stops over (± 0.1)"
    use("de")
    assert str(told("over", light="KEY", stops=2.0, u95=0.1)) == "KEY liegt 2,0 Blenden darüber (± 0,1)"


@pytest.mark.parametrize("typed", ["1/4 +0.3", "1/4 +0,3"])
def test_a_figure_that_is_text_already_gets_the_language_s_sign(typed: str) -> None:
    """A power, as the house wrote it or somebody typed it, and an aperture: one sign beside another in one line never differs."""
    assert str(told("power_up", power=typed)) == "power up to 1/4 +0.3"
    use("de")
    assert str(told("power_up", power=typed)) == "Leistung hoch auf 1/4 +0,3"
    assert written("f/5.6", "figure") == "f/5,6"


def test_a_name_is_that_of_the_catalogue_or_stays_as_it_is() -> None:
    """What everybody knows is translated, what somebody named is not, and what was told is said."""
    use("de")

    assert [written(name, "point") for name in ("hair", "{her} sleeve")] == ["Haar", "{her} sleeve"]
    assert written(told("moving_word"), "movement") == str(told("moving_word"))


def test_a_range_of_the_sensor_is_named_in_the_language_wherever_it_is_named() -> None:
    """It is a name of ours, on the wire and in a stored calibration in English; the simulated sensor's is one, too."""
    assert not [code for code, phrase in PHRASES.items() if re.search(r"\brange \{\w+\}|\{range\}", phrase)]
    use("de")

    assert "Bereich hell" in str(told("clips_now_on", range="bright"))
    assert [written(name, "range") for name in (*range_names(3), *range_names(1))] == ["hell", "mittel 1", "schwach", "einziger"]
    assert [written(name, "sensor") for name in (SIMULATED, "dome of mine")] == ["simulierte Kalotte", "dome of mine"]


def test_several_are_said_one_after_the_other() -> None:
    """Empty parts leave nothing behind; nothing at all is false."""
    use("en")

    assert str(all_of(told("tape"), NOTHING, told("say_where"))) == f"{PHRASES['tape']}; {PHRASES['say_where']}"
    assert not all_of(NOTHING, NOTHING)
    assert str(NOTHING) == ""


def test_an_action_within_is_put_for_the_place() -> None:
    """What is told keeps the action; only reading it makes it a command or a touch."""
    use("en")

    assert str(told("meter_it", do=Do("meter", light="KEY"))) == "not metered: meterlink meter KEY"
    assert isinstance(told("tape"), Told)


def test_no_turn_has_no_sign() -> None:
    """The first angle of a walk is 0 degrees, neither plus nor minus."""
    assert [str(told("angle_step", angle=angle)) for angle in (0.0, 30.0, -30.0)] == ["0 degrees", "+30 degrees", "-30 degrees"]
