"""A stranger's way through the pages: each command is there and takes what it is given, each part is listed once, as drawn."""

from __future__ import annotations

import importlib.util
import re
import shlex
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from hardware_notes.design.make_notes import NOTES
from hardware_notes.wiring import boards
from meterlink.cli.main import parse
from meterlink.words.phrases.faults import FAULTS

PAGES = sorted(NOTES.rglob("*.md"))
ROOT = NOTES.parent
PLACES = {"PORT": "/dev/ttyACM0", "FILE": "diode.csv", "NAME": "tungsten", "ADDRESS": "00:11"}
NAMED = re.compile(r"`((?:hardware_notes|benchmarks|shared)/[\w./*]+)`")
SPAN, INDENTED = re.compile(r"`([^`]+)`"), re.compile(r"^ {4,}(\S.*?)(?:   .*)?$", re.MULTILINE)


def commands(program: str) -> list[tuple[str, str]]:
    """(page, command), once each: whatever begins with the program's name in backticks or in an indented block."""
    found = {}
    for page in PAGES:
        text = page.read_text("utf-8")
        for line in [*SPAN.findall(text), *INDENTED.findall(text)]:
            words = " ".join(line.split())
            if words.startswith(f"{program} "):
                found[page.name, words] = None
    return list(found)


@pytest.mark.parametrize(("page", "command"), commands("meterlink"))
def test_every_meterlink_command_of_the_pages_is_understood(page: str, command: str) -> None:
    """The verb is there and takes these arguments, whatever stands for a port or a file."""
    verb, *words = shlex.split(re.sub(r"\b(PORT|FILE|ADDRESS)\b", lambda found: PLACES[found[0]], command))[1:]

    parse(verb, words)


def test_every_make_target_of_the_pages_is_there() -> None:
    """``make X`` names a target of the Makefile of the folder that the page says it is typed in."""
    for page, command in commands("make"):
        words = [w for w in shlex.split(command)[1:] if "=" not in w]
        target = next(w for w in words if w != "-C" and "/" not in w)
        at_home = page != "README.md" or target == "demo"
        folder = ROOT / words[words.index("-C") + 1] if "-C" in words else ROOT if at_home else NOTES / "firmware"
        assert re.search(rf"^{target}:", (folder / "Makefile").read_text("utf-8"), re.MULTILINE), (page, command)


def test_every_module_of_the_pages_can_be_run() -> None:
    """``python -m X`` names a module of the project."""
    found = commands("python")

    assert found
    for page, command in found:
        assert importlib.util.find_spec(command.split()[2]), (page, command)


def test_every_file_that_the_pages_copy_is_there() -> None:
    """``mpremote cp`` and the benchmarks, sketches and folders that are named lie where the page says."""
    copied = [word for _, command in commands("mpremote") if " cp " in command for word in command.split() if "/" in word]
    named = [word for page in PAGES for word in NAMED.findall(page.read_text("utf-8"))]

    assert copied
    assert named
    for path in (*copied, *named):
        assert list(ROOT.glob(path)), path


VALUE = re.compile(r"((?:[RC]\d+(?:, )?)+) ([\d.]+ [kpn]?[ΩF])")


def listed(page: Path) -> Iterator[tuple[int, list[str], dict[str, str]]]:
    """Quantity, names and values of each row of a table of parts; a value in the first cell is that of all."""
    section = page.read_text("utf-8").split("## Parts")[1].split("\n## ")[0]
    for line in section.splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        names = re.findall(r"\b[RC]\d+\b", line)
        if len(cells) != 3 or not cells[1].isdigit() or not names:
            continue
        values = {name: value for group, value in VALUE.findall(line) for name in group.split(", ")}
        common = re.search(r"[\d.]+ (?:[kpnµ]?F|MHz)", cells[0])
        yield int(cells[1]), names, values or dict.fromkeys(names, common[0] if common else "")


@pytest.mark.parametrize(
    ("page", "layout"), [("build_b.md", boards.board_b()), ("front_end_d.md", boards.board_d())], ids=["b", "d"]
)
def test_parts_of_the_page_are_those_of_the_drawing(page: str, layout: boards.Layout) -> None:
    """Every resistor and capacitor of the breadboard is listed once with its value, in a row whose number is how many it names."""
    drawn = {p.name: p.label for p in layout.parts if p.name[0] in "RC"}
    names: Counter[str] = Counter()
    for number, some, values in listed(NOTES / page):
        names.update(some)
        if not {"C10", "C11"} & set(some):
            assert number == len(some), some
            assert all(values[name] for name in some), (page, some)
            assert {name: values[name] for name in some} == {name: drawn[name][: len(values[name])] for name in some}

    assert names == Counter(drawn.keys())


@pytest.mark.parametrize("page", ["build_a.md", "build_b.md", "front_end_d.md"])
def test_every_build_lists_the_cable_that_it_connects_by(page: str) -> None:
    """Whoever buys by the list has all that the first "plug in" takes."""
    assert "USB cable that carries data" in (NOTES / page).read_text("utf-8").split("## Parts")[1].split("\n## ")[0]


def test_settings_and_files_of_the_board_are_those_of_its_page() -> None:
    """Names and usual values of the table are the program's, and as many files are to be there as there are."""
    text = (NOTES / "build_d.md").read_text("utf-8")
    spec = importlib.util.spec_from_file_location("settings", NOTES / "board" / "settings.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    told: dict[str, str] = {}
    for line in text.split("## Settings")[1].split("\n## ")[0].splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        names, usual = re.findall(r"`(\w+)`", cells[0]), cells[1].replace("−", "-").strip("`") if len(cells) == 3 else ""
        told |= dict(zip(names, usual.split(", ") * (1 if ", " in usual else len(names)), strict=True)) if usual else {}
    assert told == {name: str(value).lower() for name, value in module.USUAL.items()}
    assert {12: "twelve"}[len(list((NOTES / "board").glob("*.py")))] in text


def test_every_wire_that_a_remedy_names_is_called_so_on_a_page() -> None:
    """Who is sent to a wire by ``verify`` or ``sensor-test`` finds it by that name in the notes."""
    pages = " ".join(page.read_text("utf-8") for page in PAGES)
    wires = [wire for remedy in FAULTS.values() for wire in re.findall(r"(?:\w+ )wires?\b", remedy)]

    assert wires
    for wire in wires:
        assert wire in pages, wire


def test_every_page_of_a_build_begins_with_its_cautions() -> None:
    """Whoever is sent straight to a page reads of the cautions before its first step."""
    pages = "README build_a build_b build_d front_end_d calibrate verify receptors"
    for name in (f"{page}.md" for page in pages.split()):
        text = (NOTES / name).read_text("utf-8")
        first = re.search(r"^1\. ", text, re.MULTILINE)
        assert "cautions.md" in text[: first.start() if first else len(text)][:1500], name
