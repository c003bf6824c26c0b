"""All texts in one place: every key that is used exists, nothing is written elsewhere, languages are whole."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from meterlink.judging.verdict import Verdict
from meterlink.records import Purpose
from meterlink.records.kept import ROLES
from meterlink.words.actions import Do
from mobile import texts
from mobile.first_state import start_lights

APP = Path(texts.__file__).parent
CODE = sorted(APP.glob("*.py"))
LAYOUTS = sorted(APP.glob("*.kv"))
USED = re.compile(r"""\bt(?:_count)?\(\s*f?['"]([^'"]+)['"]""")


def used_keys(path: Path) -> set[str]:
    """Keys that a file asks for literally; a key with a place in it becomes a pattern."""
    return set(USED.findall(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("path", CODE + LAYOUTS, ids=lambda p: p.name)
def test_every_text_that_is_asked_for_exists(path: Path) -> None:
    """A key used anywhere is in the table; a key made of parts fits at least one."""
    for key in used_keys(path):
        pattern = re.sub(r"\\\{.*?\\\}|\{.*?\}", ".+", re.escape(key).replace(r"\{", "{").replace(r"\}", "}"))
        assert any(re.fullmatch(pattern, known) for known in texts.EN), f"{path.name} asks for {key}"


@pytest.mark.parametrize("path", LAYOUTS, ids=lambda p: p.name)
def test_layouts_hold_no_words_of_their_own(path: Path) -> None:
    """No .kv file writes a text: every text or label is bound or asked for by key."""
    for line in path.read_text(encoding="utf-8").splitlines():
        found = re.match(r"\s*(text|hint_text|label|hint|title):\s*(.+)", line)
        if found:
            bare = re.sub(r"t\('[^']*'\)|test_name[^'\"]*'[^']*'", "", found[2])
            literals = re.findall(r"'([^']*)'", bare)
            assert not any(re.search("[A-Za-z]", literal) for literal in literals), line


@pytest.mark.parametrize("path", [p for p in CODE if p.name.endswith("_screen.py")], ids=lambda p: p.name)
def test_pages_hold_no_words_of_their_own(path: Path) -> None:
    """No page's code gives a widget a literal text."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.keyword) and node.arg in ("text", "label", "hint", "title"):
            assert not (isinstance(node.value, ast.Constant) and node.value.value), ast.dump(node)
        if isinstance(node, ast.Assign):
            for target in node.targets:
                if isinstance(target, ast.Attribute) and target.attr in ("text", "label", "hint"):
                    assert not (isinstance(node.value, ast.Constant) and node.value.value), ast.dump(node)


def parts_that_fit(key: str, asked: str) -> list[str] | None:
    """What stands in the places of a key that is made of parts, where this key is one of those; else None."""
    found = re.fullmatch(re.sub(r"\\{.*?\\}", "([^.]+)", re.escape(asked)), key)
    return list(found.groups()) if found else None


def test_no_text_is_kept_that_nobody_uses() -> None:
    """Every text of the table is asked for: literally, or by parts that the file which puts it together, or a state, names."""
    files = {p.name: p.read_text(encoding="utf-8") for p in CODE + LAYOUTS if p.name != "texts.py"}
    named = {name: set(re.findall(r"""['"]([\w.]+)['"]""", text)) for name, text in files.items()}
    every = set().union(*named.values(), ROLES, Purpose)
    # These name their parts themselves: a word that some other page uses asks for nothing here.
    own = {"library_screen.py", "sensors_screen.py", "set_state.py", "metering_state.py", "inputs.py"}

    def asked(key: str) -> bool:
        return key in every or any(
            (parts := parts_that_fit(key, pattern)) is not None and set(parts) <= (named[name] if name in own else every)
            for name, text in files.items()
            for pattern in USED.findall(text)
            if "{" in pattern
        )

    unused = [key for key in texts.EN if not asked(key) and not asked(key.removesuffix("_one"))]

    assert not unused, f"nobody asks for {unused}"


def test_another_language_is_spoken_once_chosen() -> None:
    """``use`` changes what ``t`` says, sentences of the library with it; an unknown language is English."""
    texts.use("de")
    assert texts.t("place.lights") == "Lichter"
    assert str(Do("meter_all")) == "Alle messen berühren"
    texts.use("nonsense")
    assert texts.t("place.lights") == "Lights"


@pytest.mark.parametrize("key", [key for key in texts.EN if key.endswith("_one")])
def test_one_is_counted_as_one(key: str) -> None:
    """What is counted has a form for one and another for several, which says how many."""
    one, two = (texts.t_count(key.removesuffix("_one"), count, power="1/4") for count in (1, 2))

    assert one != two
    assert ("2" in two, "2" in one) == (True, False)


def test_roles_and_verdicts_have_their_names_from_one_place() -> None:
    """The app has no words of its own for what terminal and sheet name too."""
    assert not set(texts.EN) & {*(f"role.{role}" for role in ROLES), *(f"verdict.{verdict}" for verdict in Verdict)}
    texts.use("de")

    assert start_lights(2) == (("FÜHRUNG", "key"), ("AUFHELLUNG", "fill"))


def test_the_language_of_the_device_is_spoken_unless_one_is_chosen(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing chosen: what the surroundings say."""
    monkeypatch.setenv("METERLINK_LANGUAGE", "de_AT")
    texts.use("")

    assert texts.t("place.lights") == "Lichter"


def test_a_text_that_there_is_not_is_an_error() -> None:
    """A wrong key fails loudly in tests instead of showing nothing on a phone."""
    with pytest.raises(KeyError):
        texts.t("no.such")
