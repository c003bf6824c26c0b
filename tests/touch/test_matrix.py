"""Every size, theme, text size and page looked at by rules: a sample by default, all of them with ``METERLINK_TOUCH_FULL=1``."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.touch import libraries, looking
from tests.touch.hands import Phone, Screen

Start = Callable[..., Phone]
SIZES = ((360, 640), (412, 915), (640, 360), (800, 1280), (1280, 800))
PAGES = ("first", "metering", "lights", "set", "match", "library", "sensors", "settings", "more")
FULL = os.environ.get("METERLINK_TOUCH_FULL", "")
"""All of it, or (``640x360``) all of one size."""
SAMPLE = {((360, 640), 1.0), ((640, 360), 1.0), ((640, 360), 1.5)}


@pytest.mark.parametrize("size", SIZES if FULL else SIZES[:1], ids=lambda s: f"{s[0]}x{s[1]}")
def test_the_result_of_a_pop_is_in_sight_at_every_text_size(phone: Start, size: tuple[int, int]) -> None:
    """Figure, name and verdict of the last pop stand whole on the screen, without scrolling."""
    p = phone(size=size)
    p.tap("count:4")
    p.pop()
    for text_scale in (1.0, 1.5, 2.0):
        now = p.wear("amber", text_scale)
        for name in ("figure", "last_name", "verdict"):
            assert now.any(name).seen > 0.99, (text_scale, name)


# What is opened on a page besides the page itself: (page, light, taps that open it, as the page's own methods)
OPENED = {
    "light": ("lights", "KEY", ()),
    "light more": ("lights", "HAIR", ("toggle_more",)),
    "order": ("lights", "", ("toggle_order",)),
    "findings": ("set", "", ("toggle_findings",)),
    "about": ("set", "", ("toggle_about",)),
    "give": ("metering", "", ("toggle_giving", "toggle_reason")),
    "typing": ("metering", "", ("toggle_typing",)),
    "put away": ("library", "", ("choose_file",)),
}
STEPS = (1.0, 0.66, 0.33, 0.0) if FULL else (1.0, 0.0)
"""Places of a page that scrolls, from its head to its foot."""


def views(p: Phone, name: str) -> Iterator[Screen]:
    """Go to a page, open what belongs to it, and look at all of it from head to foot; leave it as it was."""
    place, light, opens = OPENED.get(name, (name, "", ()))
    p.show(place, light)
    for method in opens:
        p.ask("call", method=method)
    last = None
    for part in STEPS:
        if p.ask("scroll", part=part) or part == 1.0:
            last = p.settled()
            yield last
    for method in opens:
        p.ask("call", method=method)
    p.ask("scroll", part=1.0)


def wrong_with(p: Phone, name: str, picture: Path) -> list[str]:
    """Everything that is wrong with a page, in words; its picture is kept, small."""
    found: list[str] = []
    for i, now in enumerate(views(p, name)):
        image = p.picture(picture if FULL and i == 0 else None)
        found += looking.problems(now) + looking.faint(now, image)
        if now.place == "metering" and name == "metering":
            found += [f"metering: {line!r} is longer than a glance" for line in looking.long_lines(now)]
    return list(dict.fromkeys(found))


@pytest.mark.timeout(1800)
def test_a_wide_matrix_of_pages_has_no_overlap_cut_or_small_thing(phone: Start, tmp_path: Path) -> None:
    """Size by text size by theme by page: no texts on each other, nothing cut, 48 dp targets, contrast in the pixels."""
    p = phone(prepare=libraries.made_up)
    found: list[str] = []
    for size in SIZES:
        for text_scale in (1.0, 1.5, 2.0):
            if FULL not in ("1", f"{size[0]}x{size[1]}") and (FULL or (size, text_scale) not in SAMPLE):
                continue
            p.turn(*size)
            for theme in ("amber", "paper") if FULL else ("amber",) if text_scale > 1 else ("paper",):
                p.wear(theme, text_scale)
                for page in (*PAGES, *OPENED):
                    picture = tmp_path / f"{page}-{theme}-{size[0]}x{size[1]}-{text_scale:.0%}.png"
                    where = f"{size[0]}x{size[1]} {text_scale:.0%} {theme} {page}"
                    found += [f"{where}: {one}" for one in wrong_with(p, page, picture)]

    assert not found, "\n".join(found)


def test_six_lights_stand_on_the_smallest_screen_without_scrolling(phone: Start) -> None:
    """At 360 × 640: name, f-number, bar and mark of six lights, the camera on top and the findings' line, all at once."""
    p = phone(prepare=libraries.six_lights)
    now = p.show("set")
    rows = [one for one in now.things if one.name.startswith("row:") and one.name.count(":") == 1]

    assert len(rows) == 6
    assert {one.name: round(one.seen, 2) for one in rows} == {one.name: 1.0 for one in rows}
    for row in rows:
        for part in ("figure", "stops"):
            assert now.any(f"{row.name}:{part}").seen > 0.99
    assert now.find("aperture").seen > 0.99
    assert now.find("findings").seen > 0.99


@pytest.mark.timeout(600)
def test_the_smallest_screen_speaks_german(phone: Start, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With ``METERLINK_LANGUAGE=de`` at 360 × 640: German on every page, nothing on each other, nothing cut."""
    monkeypatch.setenv("METERLINK_LANGUAGE", "de")
    p = phone(prepare=libraries.made_up)
    assert p.show("more").text("more:settings") == "Einstellungen"
    found: list[str] = []
    for text_scale in (1.0, 1.5, 2.0) if FULL else (1.0,):
        p.wear("amber", text_scale)
        for page in (*PAGES, *OPENED) if FULL else (*PAGES, "light", "findings"):
            picture = tmp_path / f"de-{page}-{text_scale:.0%}.png"
            found += [f"{text_scale:.0%} {page}: {one}" for one in wrong_with(p, page, picture)]

    assert not found, "\n".join(found)
