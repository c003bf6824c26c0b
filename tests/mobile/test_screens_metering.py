"""The metering page of the real app, driven by touches: from a sensor to the ratio table, and all that can go wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

pytest.importorskip("kivy", reason="kivy is not installed (pip install '.[app]')")

from meterlink.library.store import Library
from mobile.desk import Desk
from mobile.first_state import begin_set
from mobile.theme import CAP_HEIGHT
from mobile.voice import tick_wave
from tests.mobile.driving import Driver, Quiet, drive
from tests.mobile.window import resize

SIM = "sim:?every=0"


def test_four_lights_from_connected_sensor_to_ratio_table_take_four_pops_and_at_most_four_taps(tmp_path: Path) -> None:
    """A set of four lights is metered from nothing to its table in four pops and at most four taps."""

    async def scenario(d: Driver) -> tuple[int, int, str, list[str]]:
        await d.connected()
        await d.tap("count:4")
        for _ in range(4):
            await d.pop()
        await d.until(lambda: d.app.place == "set", "the table by itself")
        await d.frames(4)
        stops = [d.text(f"row:{name}:stops") for name in ("KEY", "FILL", "HAIR", "BACKGROUND")]
        return d.taps, d.pops, d.app.place, stops

    taps, pops, place, stops = drive(tmp_path / "library.db", scenario, url=SIM)

    assert pops == 4
    assert taps <= 4
    assert place == "set"
    assert stops[0] == "the key"
    assert all("±" in text for text in stops[1:])


def test_a_new_person_reaches_a_first_reading_by_two_taps_and_a_pop(tmp_path: Path) -> None:
    """No sensor, no set: the simulated sensor is offered and marked, then a number of lights, then it meters."""

    async def scenario(d: Driver) -> tuple[int, str, bool, str]:
        await d.tap("simulate")
        await d.connected()
        await d.tap("count:1")
        await d.tap("act:fire")
        await d.until(lambda: d.app.desk.shot.last is not None)
        await d.until(lambda: d.app.place == "set", "the table by itself")
        await d.settled()
        await d.frames(6)
        return d.taps, d.app.strip, d.app.simulated, d.app.place

    taps, strip, simulated, place = drive(tmp_path / "library.db", scenario)

    assert taps == 3  # the third one is the simulated pop itself
    assert "simulated" in strip
    assert simulated
    assert place == "set"


def test_a_pop_shows_figure_verdict_sentence_and_wave_and_is_read_out(tmp_path: Path) -> None:
    """After a pop the page shows the value large, a shape for the verdict, its reason, the waveform; the voice says it."""
    voice = Quiet()

    async def scenario(d: Driver) -> dict[str, object]:
        await d.connected()
        await d.tap("count:2")
        await d.pop()
        figure = d.find("figure")
        await d.tap("verdict")
        return {
            "main": figure.figure.main,
            "mark": d.find("mark").verdict,
            "sentence": d.text("sentence"),
            "wave": len(d.find("wave").points),
            "headline": d.text("headline"),
            "name": d.text("last_name"),
        }

    seen = drive(tmp_path / "library.db", scenario, url=SIM, voice=voice)

    assert seen["main"]
    assert seen["mark"] in ("good", "corrected", "retake")
    assert seen["sentence"]
    assert seen["wave"] > 50
    assert seen["headline"] == "FILL"
    assert str(seen["name"]).startswith("KEY")
    assert voice.said[0].startswith("KEY, f ")
    assert voice.said[1] == "next: FILL"
    assert (len(voice.buzzed), voice.ticked) == (1, ["taken"])
    assert tick_wave("taken") != tick_wave("again")


def test_speech_and_vibration_are_off_by_their_switches(tmp_path: Path) -> None:
    """Switched off in the settings, a pop is silent."""
    voice = Quiet()

    async def scenario(d: Driver) -> None:
        await d.connected()
        await d.tap("count:1")
        d.app.go("settings")
        await d.tap("choice:speech:False")
        await d.tap("choice:vibration:False")
        d.app.go("metering")
        await d.pop()

    drive(tmp_path / "library.db", scenario, url=SIM, voice=voice)

    assert (voice.said, voice.buzzed, voice.ticked) == ([], [], [])


def test_the_figure_is_as_large_as_two_metres_ask_for(tmp_path: Path) -> None:
    """On a small phone an f-number's digits are drawn at the theme's full size: 11.6 mm and more."""

    async def scenario(d: Driver) -> float:
        await d.connected()
        await d.tap("count:2")
        await d.pop()
        return d.find("figure").main_size

    from mobile import theme

    size = drive(tmp_path / "library.db", scenario, url=SIM)

    assert size * theme.CAP_HEIGHT * 25.4 / 160 >= 11.6


def test_take_back_skip_and_give_to_another_light(tmp_path: Path) -> None:
    """Taken back, a light waits again; skipped, the next one; given away, the reading is the other light's."""

    async def scenario(d: Driver) -> list[str]:
        seen = []
        await d.connected()
        await d.tap("count:3")
        await d.pop()
        await d.tap("act:undo")
        seen.append(d.text("headline"))
        await d.tap("act:skip")
        seen.append(d.text("headline"))
        await d.pop()
        await d.tap("act:give")
        await d.tap("give:KEY")
        seen.append(d.text("headline"))
        seen.append(",".join(c.sign for c in reversed(d.app.page.ids.chips.children)))
        return seen

    first, second, third, chips = drive(tmp_path / "library.db", scenario, url=SIM)

    assert (first, second) == ("KEY", "FILL")
    assert third == "FILL"
    assert chips.split(",")[0] in ("good", "corrected", "retake")
    assert chips.split(",")[1] == "none"


def test_order_and_auto_advance_can_be_switched_off(tmp_path: Path) -> None:
    """With auto-advance off the light stays after its pop; a chip waits for any light."""

    async def scenario(d: Driver) -> list[str]:
        seen = []
        await d.connected()
        await d.tap("count:3")
        d.app.go("settings")
        await d.tap("choice:auto_advance:False")
        d.app.go("metering")
        await d.pop()
        seen.append(d.text("headline"))
        await d.tap("chip:HAIR")
        seen.append(d.text("headline"))
        await d.pop()
        seen.append(d.text("headline"))
        return seen

    assert drive(tmp_path / "library.db", scenario, url=SIM) == ["KEY", "HAIR", "HAIR"]


def test_the_held_off_slider_is_dragged_remembered_and_goes_into_the_reading(tmp_path: Path) -> None:
    """Dragged to 20 cm it is the key's, also after its pop until the next one; the fill's own, once touched, is not given."""

    async def scenario(d: Driver) -> tuple[str, str, str, str, str, float | None]:
        await d.connected()
        await d.tap("count:2")
        slider = await d.reach("held_slider")
        y = slider.to_window(*slider.center)[1]

        def at(held_m: float | None) -> float:
            return slider.to_window(slider._place(slider.arithmetic.fraction_of(held_m)), 0)[0]

        await d.touch(at(None), y, (at(0.1), y), (at(0.2), y))
        await d.settled()
        key = d.text("held_text")
        await d.pop(0.2)
        kept, whose = d.text("held_text"), d.text("held_title")
        await d.tap("chip:FILL")
        fill = d.text("held_text")
        await d.tap("chip:KEY")
        again = d.text("held_text")
        return key, kept, whose, fill, again, d.app.desk.shot.view.lights[0].reading.held_off_m

    key, kept, whose, fill, again, held_m = drive(tmp_path / "library.db", scenario, url=SIM)

    assert key == kept == again == "20 cm"
    assert whose.startswith("KEY")
    assert fill == "not given"
    assert held_m == 0.2


def test_a_typed_held_off_distance_that_cannot_be_is_refused_under_the_field(tmp_path: Path) -> None:
    """The sentence stands where the finger is; the right value is taken and the sentence goes."""

    async def scenario(d: Driver) -> tuple[str, str, str]:
        await d.tap("count:1")
        await d.tap("held_text")
        await d.type("held_field", "two hands")
        refused = d.text("held_field:error")
        await d.type("held_field", "15")
        return refused, d.text("held_field:error"), d.text("held_text")

    refused, after, held = drive(tmp_path / "library.db", scenario, url=SIM)

    assert "two hands" in refused
    assert "\n" not in refused
    assert after == ""
    assert held == "15 cm"


def test_a_refused_tap_says_why_beside_the_finger_and_blocks_nothing(tmp_path: Path) -> None:
    """The sum check of one light is refused near the tap; nothing waits over its good reading until its light is touched."""

    async def scenario(d: Driver) -> tuple[str, float, float, str, int]:
        await d.connected()
        await d.tap("count:1")
        await d.pop()
        tapped = await d.reach("set_sum")
        await d.tap("set_sum")
        note = d.app.frame.ids.note
        said = note.text
        away = abs(note.center_y - tapped.to_window(*tapped.center)[1])
        await d.tap("set_meter")
        armed = d.text("headline") if d.app.desk.shot.waiting else ""
        await d.tap("chip:KEY")
        await d.pop()
        return said, away, note.right, armed, len(d.app.desk.shot.view.readings)

    said, away, right, armed, readings = drive(tmp_path / "library.db", scenario, url=SIM)

    assert "needs two lights" in said
    assert away < 120
    assert right <= 360
    assert armed == ""
    assert readings == 1  # the retake superseded the first


def test_a_damaged_pop_is_asked_for_again_at_the_same_light(tmp_path: Path) -> None:
    """Its block arrives broken: nothing is logged, the light still waits, and the page says so."""

    async def scenario(d: Driver) -> tuple[str, str, int]:
        await d.connected()
        await d.tap("count:2")
        d.clock.now_s += 2
        d.app.fire(damaged=True)
        await d.frames(5)
        d.clock.now_s += 2
        d.app.sensors.simulator.say(d.app.sensors.simulator.chip.steady(d.clock.now_s))
        await d.until(lambda: d.app.desk._outcome is not None, "the damaged pop is told")
        await d.settled()
        return d.text("headline"), d.text("note"), len(d.app.desk.shot.view.readings)

    headline, sentence, readings = drive(tmp_path / "library.db", scenario, url=SIM)

    assert headline == "KEY"
    assert "once more" in sentence
    assert readings == 0


def test_killed_in_the_middle_the_next_start_waits_for_the_same_light(tmp_path: Path) -> None:
    """Nothing is closed in order: the library as the kill left it brings back set, readings and place in the order."""
    import shutil

    async def first(d: Driver) -> None:
        await d.connected()
        await d.tap("count:4")
        await d.pop()
        await d.pop()
        # What a kill leaves on the disk at this moment, write-ahead log and all.
        for path in tmp_path.glob("library.db*"):
            shutil.copy(path, tmp_path / path.name.replace("library", "killed"))

    async def second(d: Driver) -> tuple[str, str, str, str]:
        await d.connected()
        return d.app.place, d.text("headline"), d.text("step"), d.find("figure").figure.main

    drive(tmp_path / "library.db", first, url=SIM)
    place, headline, step, figure = drive(tmp_path / "killed.db", second)

    assert (place, headline) == ("metering", "HAIR")
    assert step.startswith("3 of 4")
    assert figure


def test_turned_and_back_the_page_shows_the_same(tmp_path: Path) -> None:
    """Landscape puts two columns beside each other and the bar at the side; nothing is lost either way."""

    async def scenario(d: Driver) -> list[tuple[str, str, float]]:
        await d.connected()
        await d.tap("count:3")
        await d.pop()
        seen = []
        for size in ((360, 640), (640, 360), (1280, 800), (360, 640)):
            resize(*size)
            await d.frames(4)
            seen.append((d.text("headline"), d.app.look.wide, d.app.look.columns))
        return seen

    seen = drive(tmp_path / "library.db", scenario, url=SIM)

    assert [s[0] for s in seen] == ["FILL"] * 4
    assert [s[1:] for s in seen] == [(False, 1), (True, 2), (True, 2), (False, 1)]


def test_put_into_the_background_and_back_it_shows_what_came(tmp_path: Path) -> None:
    """Paused it may be killed at any time; resumed it shows the library as it is."""

    async def scenario(d: Driver) -> tuple[bool, str]:
        await d.tap("count:2")
        paused = d.app.on_pause()
        d.app.desk.skip()
        d.app.on_resume()
        await d.frames(2)
        return paused, d.text("headline")

    assert drive(tmp_path / "library.db", scenario, url=SIM) == (True, "FILL")


def test_pulled_out_in_the_middle_it_goes_on_where_it_stopped(tmp_path: Path) -> None:
    """The loss is told on every page, metering stays usable, and after plugging in the next pop is the waiting light's."""

    async def scenario(d: Driver) -> tuple[str, str, str]:
        await d.connected()
        await d.tap("count:3")
        await d.pop()
        d.app.go("sensors")
        await d.tap("sensors:unplug")
        await d.until(lambda: "lost" in d.app.strip, "the loss is told")
        lost = d.app.strip
        await d.tap("sensors:plug")
        await d.connected()
        d.app.go("metering")
        await d.pop()
        return lost, d.app.strip, d.text("headline")

    lost, back, headline = drive(tmp_path / "library.db", scenario, url=SIM)

    assert "connection lost" in lost
    assert "lost" not in back
    assert headline == "HAIR"


def test_pops_from_elsewhere_do_not_wait_for_the_screen(tmp_path: Path) -> None:
    """A pop while another page is shown is logged too, and that page stays."""

    async def scenario(d: Driver) -> tuple[str, int]:
        await d.connected()
        await d.tap("count:3")
        d.app.go("library")
        await d.pop()
        await d.pop()
        return d.app.place, len(d.app.desk.shot.view.readings)

    assert drive(tmp_path / "library.db", scenario, url=SIM) == ("library", 2)


def test_a_library_that_another_process_holds_says_so_and_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The write lock held elsewhere: one sentence, the light still waits, and the pop after it is logged."""
    import sqlite3

    from meterlink.library import connection

    monkeypatch.setattr(connection, "BUSY_TIMEOUT_S", 0.05)
    path = tmp_path / "library.db"

    async def scenario(d: Driver) -> tuple[str, str, int]:
        await d.connected()
        await d.tap("count:2")
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        d.clock.now_s += 2
        d.app.fire()
        await d.until(lambda: d.app.frame.ids.note.text, "the refusal is said")
        said = d.app.frame.ids.note.text
        waiting = d.text("headline")
        other.execute("ROLLBACK")
        other.close()
        await d.pop()
        return said, waiting, len(d.app.desk.shot.view.readings)

    said, waiting, readings = drive(path, scenario, url=SIM)

    assert "in use by another program" in said
    assert waiting == "KEY"
    assert readings == 1


def test_an_old_set_is_gone_on_with(tmp_path: Path) -> None:
    """With a set in the library the app starts at its waiting light, and the first page offers to go on with it."""
    path = tmp_path / "library.db"
    desk = Desk(Library.open(path))
    begin_set(desk, 2)
    desk.close()

    async def scenario(d: Driver) -> tuple[str, str]:
        start = d.app.place
        d.app.go("first")
        await d.tap("resume")
        return start, d.app.place

    assert drive(path, scenario) == ("metering", "metering")


def test_with_large_text_the_value_grows_and_the_page_scrolls_in_one_place(tmp_path: Path) -> None:
    """At 360 × 640 and 200 % the digits are 64 px high at least; the last pop is whole, what can be done about it below."""

    async def scenario(d: Driver) -> list[tuple[float, bool, bool]]:
        await d.connected()
        await d.tap("count:3")
        await d.pop()
        seen = []
        for text_scale in (2.0, 1.0):
            await d.app.run(lambda scale=text_scale: d.app.desk.remember(text_scale=scale))
            d.app.wear()
            await d.settled()
            await d.frames(6)
            ids = d.app.page.ids
            pane = ids.panel.parent
            high_px = ids.figure.main_size * CAP_HEIGHT
            seen.append((high_px, ids.panel.height <= pane.height + 1, ids.rest.parent is ids.panel.__self__))
        return seen

    large, usual = drive(tmp_path / "library.db", scenario, url=SIM)

    assert large[0] >= 64
    assert (large[1:], usual[1:]) == ((True, False), (True, True))
