"""Every page at every size, both ways round, in both themes and up to twice the text size: nothing cut, nothing too small."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("kivy", reason="kivy is not installed (pip install '.[app]')")

from meterlink.library.store import Library
from mobile import theme
from mobile.desk import Desk
from tests.mobile import window
from tests.mobile.driving import Driver, drive
from tests.mobile.made_up_set import made_up_library

SIZES = ((360, 640), (640, 360), (800, 1280), (1280, 800))
PLACES = ("first", "metering", "lights", "light", "set", "match", "library", "sensors", "settings", "more")


def prepared(path: Path, theme_name: str, text_scale: float) -> None:
    """A demo set and a rebuild of it that is half matched."""
    demo_id = made_up_library(path)
    desk = Desk(Library.open(path))
    desk.match_to(demo_id)
    desk.remember(theme=theme_name, text_scale=text_scale)
    desk.close()


async def visit(d: Driver, place: str) -> None:
    """Show a page as it is used."""
    if place == "light":
        d.app.go("lights")
        d.app.page.open(d.app.desk.shot.lights[0].id)
        d.app.page.toggle_more()
    else:
        d.app.go(place)
        if place == "lights":
            d.app.page.close()
            d.app.page.add("role")
        if place == "metering" and not d.app.page.giving:
            d.app.page.toggle_giving()
    await d.settled()
    await d.frames(4)


def seen(d: Driver) -> list[Any]:
    """Every widget that can be seen."""
    return [w for w in d.app.frame.walk(restrict=True) if d._shown(w)]


def cut(widget: Any) -> str:
    """Say how a widget's text is cut, empty when it is whole."""
    from mobile.widgets import Dressed, Words, text_width

    if not isinstance(widget, Dressed) or not widget.text or widget.height == 0:
        return ""
    room = widget.text_size[0] if widget.text_size[0] is not None else widget.width
    longest = max(text_width(word, widget.font_size, widget.bold) for word in widget.text.split())
    # A word may shrink to 60 % of its size, no more; one that is longer still (an identifier) breaks.
    shrunk = widget.font_size < widget.nominal_size * 0.61
    if longest > room + 1 and not shrunk:
        return f"{widget.text!r}: a word is {longest:.0f} wide in {room:.0f}"
    if widget.texture_size[1] > widget.height + 1:
        return f"{widget.text!r}: {widget.texture_size[1]} high in {widget.height:.0f}"
    if not isinstance(widget, Words) and widget.texture_size[0] > widget.width + 1:
        return f"{widget.text!r}: {widget.texture_size[0]} wide in {widget.width:.0f}"
    return ""


def problems(d: Driver, place: str) -> list[str]:
    """What is cut, too small, beside the window or on top of something else."""
    from kivy.core.window import Window

    from mobile.drawings import Drawing
    from mobile.widgets import Dressed, Tap, TextLine

    found = []
    widgets = seen(d)
    targets = [w for w in widgets if isinstance(w, (Tap, TextLine))]
    for widget in widgets:
        said = cut(widget)
        if said:
            found.append(f"{place}: {said}")
        if isinstance(widget, (Dressed, Drawing, TextLine)) and widget.height > 0 and widget.width > 0:
            left, right = widget.to_window(widget.x, widget.y)[0], widget.to_window(widget.right, widget.y)[0]
            if widget.test_name != "finger_note" and (left < -1 or right > Window.width + 1):
                found.append(
                    f"{place}: {widget.test_name or getattr(widget, 'text', widget)!r} leaves the window: {left:.0f} to {right:.0f}"
                )
    found += [
        f"{place}: {target.test_name or target.text!r} is only {target.width:.0f} x {target.height:.0f}"
        for target in targets
        if min(target.size) < theme.TARGET - 0.1
    ]
    for i, one in enumerate(targets):
        for other in targets[i + 1 :]:
            if one.parent is other.parent and one.collide_widget(other):
                x = min(one.right, other.right) - max(one.x, other.x)
                y = min(one.top, other.top) - max(one.y, other.y)
                if x > 1 and y > 1:
                    found.append(f"{place}: {one.test_name} lies on {other.test_name}")
    return found


@pytest.mark.parametrize("text_scale", [1.0, 2.0])
@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
def test_nothing_is_cut_or_too_small_to_touch(tmp_path: Path, size: tuple[int, int], text_scale: float) -> None:
    """All texts whole, all targets at least 48 dp each way, nothing beside the window, on all pages."""
    prepared(tmp_path / "library.db", "amber", text_scale)

    async def scenario(d: Driver) -> list[str]:
        await d.connected()
        found = []
        for place in PLACES:
            await visit(d, place)
            found += problems(d, place)
        return found

    assert drive(tmp_path / "library.db", scenario, size=size, url="sim:?every=0") == []


def test_imperial_lengths_and_long_names_fit_too(tmp_path: Path) -> None:
    """Feet and inches are longer, and people name lights as they like, in any script."""
    prepared(tmp_path / "library.db", "paper", 1.5)
    desk = Desk(Library.open(tmp_path / "library.db"))
    desk.remember(units="imperial")
    for light, name in zip(
        desk.shot.lights, ("Octabox links oben", "Заполняющий", "反光板", "Haarlicht mit Wabe", "H"), strict=True
    ):
        desk.change_light(light.id, name=name)
    desk.close()

    async def scenario(d: Driver) -> list[str]:
        found = []
        for place in PLACES:
            await visit(d, place)
            found += problems(d, place)
        return found

    assert drive(tmp_path / "library.db", scenario) == []


@pytest.mark.skipif(not window.has_pixels(), reason=window.WHY_NO_PIXELS)
@pytest.mark.parametrize("theme_name", sorted(theme.THEMES))
def test_the_theme_s_colours_are_what_is_on_the_screen(tmp_path: Path, theme_name: str) -> None:
    """Measured in pixels: the ground is the theme's ground, and ink is drawn on it, on every page."""
    prepared(tmp_path / "library.db", theme_name, 1.0)

    async def scenario(d: Driver) -> dict[str, tuple[bool, bool]]:
        from kivy.core.window import Window
        from kivy.graphics.opengl import GL_RGB, GL_UNSIGNED_BYTE, glReadPixels

        result = {}
        for place in PLACES:
            await visit(d, place)
            width, height = Window.size
            pixels = bytes(glReadPixels(0, 0, width, height, GL_RGB, GL_UNSIGNED_BYTE))
            colours = {pixels[i : i + 3] for i in range(0, len(pixels), 3)}
            ground, ink = (bytes(getattr(theme.THEMES[theme_name], part)) for part in ("ground", "ink"))
            near = any(all(abs(a - b) <= 6 for a, b in zip(colour, ink, strict=True)) for colour in colours)
            result[place] = (ground in colours, near)
        return result

    assert set(drive(tmp_path / "library.db", scenario).values()) == {(True, True)}


def test_no_line_ends_between_a_number_and_its_unit(tmp_path: Path) -> None:
    """At any width a percent sign or a unit stands on the line of its number."""

    async def scenario(d: Driver) -> list[str]:
        from mobile.widgets import Words

        firsts = []
        for width in range(120, 260, 8):
            words = Words(text="likeliest, at 100 %: about 0.5 stop low, in 37 % of it", size_hint=(None, None), width=width)
            d.app.frame.add_widget(words)
            await d.frames(2)
            firsts += [line.words[0].text.split()[0] for line in words._label._cached_lines if line.words]
            d.app.frame.remove_widget(words)
        return firsts

    firsts = drive(tmp_path / "library.db", scenario)

    assert len(firsts) > 30
    assert not {"%:", "%", "stop"} & set(firsts)


def test_a_name_hangs_on_nothing_below_it(tmp_path: Path) -> None:
    """Letters below the line stay in the name's own row, which costs it a seventh of its size; other names keep theirs."""

    async def scenario(d: Driver) -> dict[str, tuple[float, float]]:
        from mobile.figure_view import FigureView

        found = {}
        for text in ("KEY", "Alles gemessen"):
            view = FigureView(text=text, size_hint=(None, None), size=(2000, 96), pos=(0, 300))
            d.app.frame.add_widget(view)
            view.size, view.pos = (2000, 96), (0, 300)
            await d.frames(3)
            ((_, size, _, base, *_),) = view.written
            found[text] = (size, base - view.y)
            d.app.frame.remove_widget(view)
        return found

    found = drive(tmp_path / "library.db", scenario)
    size, above = found["Alles gemessen"]

    assert above >= 0.21 * size
    assert found["KEY"][0] * 0.85 < size < found["KEY"][0]


@pytest.mark.skipif(not window.has_pixels(), reason=window.WHY_NO_PIXELS)
def test_verdicts_differ_by_shape_and_not_by_colour_alone(tmp_path: Path) -> None:
    """Drawn in one colour, the marks of any two verdicts differ in at least a fifth of their pixels."""

    async def scenario(d: Driver) -> dict[str, bytes]:
        from kivy.graphics.opengl import GL_RGB, GL_UNSIGNED_BYTE, glReadPixels

        from mobile.drawings import VerdictMark

        drawn = {}
        for verdict in ("good", "corrected", "retake", "none"):
            mark = VerdictMark(verdict=verdict, colour="ink", size=(60, 60), pos=(100, 300))
            blank = VerdictMark(verdict="", size=(60, 60), pos=(100, 300))
            with blank.canvas:
                from kivy.graphics import Color, Rectangle

                Color(0, 0, 0, 1)
                Rectangle(pos=(100, 300), size=(60, 60))
            d.app.frame.add_widget(blank)
            d.app.frame.add_widget(mark)
            for widget in (blank, mark):
                widget.size_hint = (None, None)
                widget.size, widget.pos = (60, 60), (100, 300)
            with blank.canvas:
                Color(0, 0, 0, 1)
                Rectangle(pos=(100, 300), size=(60, 60))
            await d.frames(3)
            pixels = bytes(glReadPixels(100, 300, 60, 60, GL_RGB, GL_UNSIGNED_BYTE))
            drawn[verdict] = bytes(int(pixels[i] > 100) for i in range(0, len(pixels), 3))
            d.app.frame.remove_widget(mark)
            d.app.frame.remove_widget(blank)
        return drawn

    drawn = drive(tmp_path / "library.db", scenario)

    names = list(drawn)
    for i, one in enumerate(names):
        assert sum(drawn[one]) > 50
        for other in names[i + 1 :]:
            apart = sum(a != b for a, b in zip(drawn[one], drawn[other], strict=True))
            assert apart >= 0.2 * max(sum(drawn[one]), sum(drawn[other])), (one, other)
