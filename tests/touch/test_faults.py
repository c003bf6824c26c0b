"""What a person once stumbled over, each held down by a test with a finger.  The table of all of them stands in README.md."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Callable
from itertools import pairwise

import pytest

from mobile import fonts
from tests.touch import libraries
from tests.touch.hands import Phone
from tests.touch.looking import blocks_of, long_lines

Start = Callable[..., Phone]
COMMAND = re.compile(r"\bmeterlink [a-z]+\b|--[a-z]+")
ROW = 73
"""Height of a row of the library at 100 %."""


def test_a_remedy_opens_the_field_that_it_needs_and_is_gone_afterwards(phone: Start) -> None:
    """A finding that lacks a direction or a distance leads to that very field; once typed, the finding does not come back."""
    p = phone()
    p.tap("count:2")
    p.pop()
    p.pop()
    p.show("set")
    now = p.tap("findings")
    remedies = [one for one in now.things if one.name.endswith(":do")]
    first = next(one for one in remedies if one.text.startswith("Say "))
    said = now.text(first.name.replace(":do", ":title"))
    now = p.tap(first.name)
    field = next(one for one in now.things if one.name.startswith("field:") and one.name.count(":") == 1)
    assert (now.place, field.seen) == ("lights", 1.0)
    typed = {"field:distance": "120 cm", "field:azimuth": "40 right"}[field.name]
    now = p.type(field.name, typed)
    assert now.text(f"{field.name}:error") == ""
    p.show("set")
    now = p.tap("findings") if p.screen().find("findings") else p.screen()

    assert said not in [one.text for one in now.things]


def test_a_set_is_named_noted_and_tagged_and_put_away_and_brought_back(phone: Start) -> None:
    """By touch alone: name, notes and tags of the set in use; *New set* stands on top; what was put away returns by one tap."""
    p = phone()
    p.tap("count:1")
    p.tap("place:set")
    p.tap("set_about")
    for name, text in (("name", "Window light"), ("notes", "two steps from the wall"), ("tags", "portrait, low key")):
        assert p.type(f"about:{name}", text).text(f"about:{name}:error") == ""
    p.tap("place:more")
    now = p.tap("more:library")
    new = now.any("new_set")
    assert new.seen == 1.0
    assert all(one.box[1] >= new.box[3] for one in now.things if one.name.startswith("use:"))
    p.tap("new_set")
    p.tap("count:1")
    p.show("library")
    p.tap("further:Window light")
    p.tap("archive:Window light")
    p.until(lambda s: s.any("use:Window light") is None, "the set is out of the list")
    p.tap("undo")
    p.until(lambda s: s.any("use:Window light"), "the set is back")
    p.type("search", "low key")

    found = p.until(lambda s: s.any("use:Window light") and not s.any("use:Set"), "the search by its tag")
    assert found.find("library_note") is None


def test_nothing_on_the_first_page_moves_and_no_page_names_a_command(phone: Start) -> None:
    """A sensor that comes up moves no tap of the first page; nowhere is a command of the command line."""
    p = phone(url="")
    names = [one.name for one in p.screen().things if one.target and one.name != "act:fire"]
    before = {one.name: one.box for one in p.screen().things}
    assert not any(COMMAND.search(one.text) for one in p.screen().texts)
    p.tap("simulate")
    p.ready()
    after = {one.name: one.box for one in p.settled().things}
    assert {name: after[name] for name in names} == {name: before[name] for name in names}
    p.ask("find", url="serial:/dev/nowhere", name="Dome two")
    p.tap("place:more")
    for place in ("first", "metering", "lights", "set", "match", "library", "sensors", "settings"):
        now = p.show(place)
        assert [one.text for one in now.things if COMMAND.search(one.text)] == [], place


def test_a_form_keeps_its_lights_name_in_sight(phone: Start) -> None:
    """Scrolled to its end and with a field open, the page of a light still says whose it is."""
    p = phone(prepare=libraries.made_up)
    p.tap("place:lights")
    p.tap("open:HAIR")
    p.tap("more_fields")
    p.reach("remove_light")
    assert p.screen().find("edit_name").seen == 1.0
    p.tap("value:distance")
    now = p.type("field:distance", "1.6 m")

    assert (now.text("edit_name"), now.find("edit_name").seen) == ("HAIR", 1.0)


def test_every_change_of_a_light_is_undone_by_one_tap(phone: Start) -> None:
    """Dial, height, front and role: one tap brings the light back as it stood, with its reading."""
    p = phone(prepare=libraries.made_up)
    p.tap("place:lights")
    p.tap("open:KEY")
    before = p.ask("measure")["KEY"]
    for tap in ("power:less", "power:stop_more", "elevation:more", "source:rectangle:0.6x0.9", "role:rim"):
        p.tap(tap)
        assert p.ask("measure")["KEY"] != before, tap
        p.tap("undo")
        assert p.ask("measure")["KEY"] == before, tap


def test_order_and_removal_are_undone_by_one_tap(phone: Start) -> None:
    """A light moved in the order or taken out is where it was after one tap."""
    p = phone(prepare=libraries.made_up)
    p.tap("place:lights")
    before = list(p.ask("measure"))
    p.tap("order")
    p.tap("down:KEY")
    assert list(p.ask("measure")) != before
    p.tap("undo")
    assert list(p.ask("measure")) == before
    p.tap("order")
    p.tap("open:HAIR")
    p.tap("remove_light")
    assert "HAIR" not in p.ask("measure")
    p.tap("undo")

    assert list(p.ask("measure")) == before


def test_names_in_any_script_are_drawn_with_letters(phone: Start) -> None:
    """Two names of one script look different: without a font both would be rows of the same empty boxes."""
    p = phone(prepare=libraries.in_every_script)
    p.show("lights")
    if fonts.WIDE in (fonts.font_of("cjk"), fonts.font_of("emoji")):
        pytest.skip("this machine has no fonts for all scripts (Debian: fonts-droid-fallback fonts-symbola)")
    for script, names in libraries.SCRIPTS.items():
        drawn = []
        for name in names:
            p.reach(f"light:{name}")
            now = p.settled()
            thing = now.any(f"light:{name}")
            image = p.picture()
            blocks = blocks_of(image, thing.ink)
            assert sum(blocks) > 8, (script, name, "nothing is drawn")
            drawn.append(blocks)
        assert drawn[0] != drawn[1], script


def test_what_is_written_from_the_right_is_drawn_from_the_right(phone: Start) -> None:
    """The Hebrew letters of a name stand in the screen's order: a picture by another library, letters reversed by hand, agrees."""
    from PIL import Image, ImageDraw, ImageFont

    name, as_seen = "אור", "רוא"
    p = phone(prepare=libraries.in_every_script)
    p.show("lights")
    p.reach(f"light:{name}")
    thing = p.settled().any(f"light:{name}")
    seen = blocks_of(p.picture(), thing.ink, columns=40)
    font = p.ask("font", text=name)

    def drawn(text: str) -> list[int]:
        image = Image.new("RGB", (200, 60))
        letters = ImageFont.truetype(font, int(thing.font_px), layout_engine=ImageFont.Layout.BASIC)
        ImageDraw.Draw(image).text((20, 5), text, font=letters)
        return blocks_of(image, (0, 0, 200, 60), columns=40)

    assert _unlike(seen, drawn(as_seen)) < 0.5 * _unlike(seen, drawn(name))


def _unlike(a: list[int], b: list[int]) -> float:
    return float(sum(abs(x - y) for x, y in zip(a, b, strict=True)))


def test_five_hundred_sets_scroll_at_thirty_frames_and_never_blank(phone: Start) -> None:
    """A finger that drags the list gets 30 different pictures a second; in none of them is a part of the list empty.

    On a machine with more to do than it has cores, a second is one of this app's own processor time.
    """
    p = phone(prepare=libraries.many_sets)
    p.show("library")
    p.until(lambda s: sum(1 for one in s.things if one.name.startswith("use:")) > 5, "the list")
    rates = []
    for _ in range(4):
        p.ask("record")
        cpu_s = p.ask("cpu")
        p.press(180, 520, *((180, 520 - 4 * n) for n in range(1, 90)), step_s=0.004)
        cpu_s = p.ask("cpu") - cpu_s
        frames = p.ask("frames")
        assert not any(one["blank"] for one in frames)
        moved = [b["at_s"] for a, b in pairwise(frames) if a["sum"] != b["sum"]]
        assert max(one["gap"] for one in frames) < ROW * 1.25, "a part of the list is empty"
        busy = os.getloadavg()[0] > (os.cpu_count() or 1)
        rates.append((len(moved) - 1) / (min(cpu_s, moved[-1] - moved[0]) if busy else moved[-1] - moved[0]))
        p.settled()
        if max(rates) >= 30:
            break
    print(f"500 sets scroll at {max(rates):.0f} frames a second")

    assert max(rates) >= 30


def test_press_and_hold_runs_the_power_by_the_heads_own_steps(phone: Start) -> None:
    """A second on *less* lessens by several steps of the dial, and one undo is offered."""
    p = phone(prepare=libraries.made_up)
    p.tap("chip:KEY")
    before = p.ask("measure")["KEY"]["power_stops"]
    p.press(*p.reach("power:less").middle, hold_s=1.2)
    steps = (before - p.ask("measure")["KEY"]["power_stops"]) / 0.1
    now = p.settled()

    assert steps == pytest.approx(round(steps))
    assert steps >= 4
    assert now.find("undo") is not None


def test_fifty_readings_of_steady_light_a_second_cost_a_tenth_of_a_core(phone: Start) -> None:
    """While nothing changes on the screen, live light at 50 Hz takes at most 10 % of a core, idle frames included.

    What the simulated sensor spends to make that light is a real sensor's, and not counted.
    """
    p = phone(prepare=libraries.made_up)
    p.show("set")
    p.ask("steady", rate_hz=50)
    time.sleep(1.0)
    parts = []
    for _ in range(5):
        cpu_s, at_s, levels = p.ask("cpu"), time.monotonic(), p.ask("levels")
        time.sleep(3.0)
        spent_s, took_s = p.ask("cpu") - cpu_s, time.monotonic() - at_s
        if (p.ask("levels") - levels) / took_s > 40:
            parts.append(spent_s / took_s)
            if min(parts) <= 0.10:
                break
    if not parts:
        pytest.skip("this machine is too busy now to bring steady light at 50 Hz: nothing to measure")
    print(f"50 Hz of live light: {min(parts):.1%} of a core")

    assert min(parts) <= 0.10


def test_no_line_of_the_metering_page_is_longer_than_a_glance(phone: Start) -> None:
    """Waiting, after a pop, after one that was not taken, lost, part of the set, all of it, all together: 60 letters at most."""
    p = phone()
    p.tap("count:3")
    seen = [p.screen(), p.pop(), p.pop(damaged=True), p.tap("act:skip"), p.tap("act:skip")]
    p.tap("act:again")
    seen += [p.pop(), p.screen()]
    p.ask("plug", plugged=False)
    seen.append(p.until(lambda s: s.text("headline") == "Sensor lost", "the loss"))
    p.ask("plug", plugged=True)
    p.until(lambda s: s.text("headline") != "Sensor lost", "the return")
    seen += [p.tap("act:sum"), p.pop(), p.pop(light="KEY")]

    assert [line for one in seen for line in long_lines(one)] == []


def test_words_of_the_trade_are_explained_by_one_touch(phone: Start) -> None:
    """A touch on t0.1, on *0.1 over*, and on a word that a finding brings says what it means, beside the finger."""
    p = phone(prepare=libraries.made_up)
    p.tap("chip:KEY")
    p.pop(stops=0.12)
    assert p.tap("t01").text("finger_note").startswith("t0.1: how long")
    p.show("set")
    assert "nearest third" in p.tap("over").text("finger_note")
    p.ask("note", sentence="FILL lies 0.004 Duv toward green: say its azimuth")
    assert p.tap("term:duv").text("finger_note").startswith("Duv: ")
    assert p.tap("term:azimuth").text("finger_note").startswith("Azimuth: ")
