"""``sheet`` as a person types it: where it goes, what it carries."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from meterlink.checks import finders
from meterlink.judging.judged_set import JudgedSet

Run = Callable[..., object]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder that is the present one."""
    folder = tmp_path / "here"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return folder


def test_it_is_named_after_the_set_up(small_set: Run, here: Path) -> None:
    """NAME.html in the present folder, said in one line."""
    ran = small_set("sheet")

    assert ran.code == 0
    assert ran.out.startswith("Potter.html")
    assert (here / "Potter.html").read_text(encoding="utf-8").startswith("<!doctype html>")


@pytest.mark.parametrize("name", ["../../evil", "/etc/passwd", "a/b\\c:d*e?", "....", "<b>"])
def test_a_name_cannot_choose_the_folder(ml: Run, here: Path, name: str) -> None:
    """Whatever the set-up is called, the page lands in the present folder."""
    ml("setup", "new", name)
    ran = ml("sheet")

    assert ran.code == 0
    assert len(list(here.iterdir())) == 1
    assert len(list(here.parent.glob("*.html"))) == 0


@pytest.mark.parametrize("verb", ["sheet", "checks"])
def test_each_finder_is_asked_once(small_set: Run, here: Path, monkeypatch: pytest.MonkeyPatch, verb: str) -> None:
    """Findings and answers come from one look: a waveform that one of them reads is read once."""
    asked: list[JudgedSet] = []
    monkeypatch.setattr(finders, "FINDERS", [lambda view: asked.append(view) or []])

    assert small_set(verb).code == 0
    assert len(asked) == 1
    assert len(list(here.iterdir())) == (verb == "sheet")


def test_views_alone_as_pictures(small_set: Run, here: Path) -> None:
    """--plan and --side write .svg or .png and nothing else."""
    assert small_set("sheet", "--plan", "plan.svg", "--side", "side.png").code == 0

    assert sorted(one.name for one in here.iterdir()) == ["plan.svg", "side.png"]
    assert (here / "side.png").read_bytes().startswith(b"\x89PNG")


WRONG = [
    (("sheet", "--plan", "plan.jpg"), ".svg or .png"),
    (("sheet", "-o", "/proc/no/sheet.html"), "written"),
    (("sheet", "--plan", "/proc/no/plan.svg"), "written"),
    (("sheet", "--setup", "Nobody"), "Nobody"),
]


@pytest.mark.parametrize(("arguments", "words"), WRONG, ids=[" ".join(a) for a, _ in WRONG])
def test_what_cannot_be_written_is_one_line(small_set: Run, here: Path, arguments: tuple[str, ...], words: str) -> None:
    """One line on stderr, exit code 1 or 2, nothing half-written."""
    ran = small_set(*arguments)

    assert ran.code in (1, 2)
    assert words in ran.err
    assert len(ran.err.splitlines()) == 1
    assert list(here.iterdir()) == []


def test_facts_of_the_rebuild_are_on_it(small_set: Run, here: Path) -> None:
    """What 'setup change' and 'light move' keep comes out on the page, the small picture, too."""
    from PIL import Image

    Image.new("RGB", (300, 200), "grey").save(here / "best.png")
    changed = small_set(
        "setup", "change", "--mark", "taped cross", "--face-height", "1.25m", "--backdrop", "grey paper", "--backdrop-distance",
        "1.6m", "--backdrop-reflectance", "18%", "--camera-distance", "2.2m", "--camera-height", "1.3m", "--focal-length", "85mm",
        "--aperture", "f/8", "--reference-picture", "best.png", "--notes", "window shut", "--tag", "low key", "--subject", "potter",
    )  # fmt: skip
    assert changed.code == 0, changed.err
    small_set(
        "light", "move", "KEY", "--diffusers", "inner baffle and front", "--grid", "40", "--recess", "5cm", "--stand-height",
        "2.1m", "--aimed-at", "chin",
    )  # fmt: skip
    small_set("sheet", "-o", "page.html")
    page = (here / "page.html").read_text(encoding="utf-8").replace("\N{NO-BREAK SPACE}", " ")

    for shown in (
        "taped cross", "1.25 m", "grey paper", "1.60 m", "18 %", "2.20 m", "1.30 m", "85 mm", "f/8", "window shut", "low key",
        "potter", "inner baffle and front", "grid 40°", "recess 5", "2.10 m above the floor", "aimed at chin", "Overhead: KEY",
    ):  # fmt: skip
        assert shown in page, shown
    assert re.search(r'<img src="data:image/jpeg;base64,[A-Za-z0-9+/=]+"', page)


def test_a_picture_that_is_none_is_refused(small_set: Run, here: Path) -> None:
    """A text file, a missing file: one line, the set-up unchanged."""
    (here / "notes.txt").write_text("shopping list")
    for name in ("notes.txt", "missing.jpg"):
        ran = small_set("setup", "change", "--reference-picture", name)
        assert ran.code in (1, 2)
        assert len(ran.err.splitlines()) == 1
    assert "reference" not in small_set("setup", "show").out
