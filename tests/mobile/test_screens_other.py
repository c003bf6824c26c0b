"""The other pages of the real app, driven by touches."""

from __future__ import annotations

from pathlib import Path

import pytest

pytest.importorskip("kivy", reason="kivy is not installed (pip install '.[app]')")

from mobile.sensor_desk import Found
from tests.mobile import window
from tests.mobile.driving import Driver, drive
from tests.mobile.made_up_set import made_up_library

SIM = "sim:?every=0"


def test_lights_are_added_shaped_sized_and_powered_by_touch(tmp_path: Path) -> None:
    """A rim light is added, gets a round source of 36 in, and its dial goes to full and one third down."""

    async def scenario(d: Driver) -> tuple[str, str, str]:
        await d.tap("count:1")
        d.app.go("lights")
        await d.tap("add_light")
        await d.tap("add:rim")
        await d.tap("source:disk:0.9x0")
        await d.tap("value:size")
        await d.type("field:size", "36in")
        await d.tap("power:more")
        await d.tap("power:less")
        power = d.text("power:value")
        await d.tap("close_light")
        row = d.find("open:RIM")
        return row.name, row.place, power

    assert drive(tmp_path / "library.db", scenario) == (
        "RIM",
        "round 91 cm, distance not given, power 1/2 +0.9",
        "1/2 +0.9",
    )


def test_a_light_is_placed_by_its_handle_on_the_ring_view(tmp_path: Path) -> None:
    """Held and dragged to a metre on camera right, the light is there: 90°, 1.00 m, give or take the pixel under a finger."""

    async def scenario(d: Driver) -> tuple[float, float, float]:
        await d.tap("count:1")
        d.app.go("lights")
        await d.tap("open:KEY")
        ring = await d.reach("ring")
        await d.frames(3)
        scale, mark = ring.scale, ring.marks[0]
        start = ring.to_window(*scale.to_px(mark.x_m, mark.z_m))
        end = ring.to_window(*scale.to_px(1.0, 0.0))
        await d.touch(*start, ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2), end, until=lambda: ring.held)
        await d.settled()
        placement = d.app.desk.shot.view.lights[0].placement
        return placement.distance_m, placement.azimuth_deg, 1 / scale.px_per_m

    distance_m, azimuth_deg, pixel_m = drive(tmp_path / "library.db", scenario)

    assert distance_m == pytest.approx(1.0, abs=2 * pixel_m + 0.01)
    assert azimuth_deg == pytest.approx(90.0, abs=2.0)


def test_dragging_beside_a_handle_scrolls_and_moves_no_light(tmp_path: Path) -> None:
    """A finger on the plan but off the handle leaves every light where it stands."""

    async def scenario(d: Driver) -> bool:
        await d.tap("count:1")
        d.app.go("lights")
        await d.tap("open:KEY")
        ring = await d.reach("ring")
        before = d.app.desk.shot.view.lights[0].placement
        x, y = ring.to_window(ring.x + 10, ring.top - 10)
        await d.touch(x, y, (x, y - 40), (x, y - 80))
        await d.settled()
        return d.app.desk.shot.view.lights[0].placement == before

    assert drive(tmp_path / "library.db", scenario)


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("field:distance", "0", "distance"),
        ("field:azimuth", "north", "north"),
        ("field:power", "lots", "lots"),
        ("field:name", "   ", "name"),
    ],
)
def test_bad_input_is_refused_under_its_field_in_one_sentence(
    tmp_path: Path, field: str, typed: str, said: str
) -> None:
    """The same errors as the command line, where the finger is; the light stays as it was."""

    async def scenario(d: Driver) -> tuple[str, bool]:
        await d.tap("count:1")
        d.app.go("lights")
        await d.tap("open:KEY")
        before = d.app.desk.shot.view
        await d.tap(field.replace("field:", "value:"))
        await d.type(field, typed)
        return d.text(f"{field}:error"), d.app.desk.shot.view == before

    error, unchanged = drive(tmp_path / "library.db", scenario)

    assert said in error
    assert "\n" not in error
    assert unchanged


def test_a_reflector_is_added_as_one(tmp_path: Path) -> None:
    """Which light feeds it is asked, its power is not."""

    async def scenario(d: Driver) -> tuple[str, bool]:
        await d.tap("count:1")
        d.app.go("lights")
        await d.tap("add_reflector")
        await d.tap("add:KEY")
        return d.app.desk.shot.lights[1].source_light_id or "", d.find("power:more") is None

    source, no_dial = drive(tmp_path / "library.db", scenario)

    assert source
    assert no_dial


def test_a_light_is_taken_out_by_a_tap_and_brought_back_by_another(tmp_path: Path) -> None:
    """No question is asked; what was done can be undone."""

    async def scenario(d: Driver) -> tuple[int, int]:
        await d.tap("count:2")
        d.app.go("lights")
        await d.tap("open:FILL")
        await d.tap("remove_light")
        first = len(d.app.desk.shot.lights)
        await d.tap("undo")
        return first, len(d.app.desk.shot.lights)

    assert drive(tmp_path / "library.db", scenario) == (1, 2)


def test_findings_tell_what_to_do_at_a_tap_and_a_second_one_begins_it(tmp_path: Path) -> None:
    """The stale background light of the demo set: worst first; what to do; then its pop is waited for."""
    made_up_library(tmp_path / "library.db")

    async def scenario(d: Driver) -> tuple[str, str, str, str, str]:
        d.app.go("set")
        await d.settled()
        hidden = d.text("finding:0:todo")
        await d.tap("findings")
        title = d.find("finding:0").title
        todo = d.text("finding:0:todo")
        await d.tap("finding:0:do")
        return title, hidden, todo, d.app.place, d.text("headline")

    title, hidden, todo, place, headline = drive(tmp_path / "library.db", scenario, url=SIM)

    assert title.startswith("BACKGROUND")
    assert hidden == ""
    assert "meterlink" not in todo
    assert "BACKGROUND" in todo
    assert (place, headline) == ("metering", "BACKGROUND")


def test_a_stored_set_is_matched_from_the_library_light_by_light(tmp_path: Path) -> None:
    """Build it again, one light half a stop under: the page says so, takes the change as done, and ends in done."""
    made_up_library(tmp_path / "library.db")

    async def scenario(d: Driver) -> tuple[str, str, str, list[str]]:
        await d.connected()
        # The background light was re-powered after its pop: what it gives now must be known to be matched.
        await d.app.run(d.app.desk.wait_for, d.app.desk.shot.lights[-1].id)
        await d.pop()
        d.app.go("library")
        await d.settled()
        await d.frames(4)
        await d.tap("further:Made up")
        await d.tap("match:Made up")
        key = d.app.desk.shot.lights[0]
        await d.app.run(lambda: d.app.desk.move_light(key.id, power_stops=-2.5, power_text="1/8 +0.5"))
        d.app.refresh()
        await d.pop()
        difference, sentence = d.text("match:KEY:difference"), d.text("match:KEY:sentence")
        await d.tap("match:KEY:moved")
        for _ in range(8):
            waiting = d.app.desk.shot.waiting
            if waiting is None:
                break
            await d.pop(waiting.held_off_m or 0.0)
        return difference, sentence, d.text("match_hint"), [line.within for line in d.app.desk.shot.match.rows]

    difference, sentence, hint, within = drive(tmp_path / "library.db", scenario, url=SIM)

    assert difference == "0.5 stop under"
    assert "turn it to" in sentence
    assert all(within)
    assert hint.startswith("Done")


def test_set_ups_are_searched_used_copied_and_exported(tmp_path: Path) -> None:
    """A word finds one; its file is written where it says; a copy is used at once."""
    made_up_library(tmp_path / "library.db")

    async def scenario(d: Driver) -> tuple[int, int, str, str]:
        d.app.export_to = str(tmp_path)
        d.app.go("first")
        await d.tap("count:2")
        d.app.go("library")
        await d.until(lambda: len(d.app.page.ids.list.data) == 2)
        both = len(d.app.page.ids.list.data)
        await d.type("search", "made")
        await d.until(lambda: len(d.app.page.ids.list.data) == 1)
        found = len(d.app.page.ids.list.data)
        await d.frames(6)
        await d.tap("further:Made up")
        await d.tap("export:Made up")
        note = d.app.frame.ids.note.text
        await d.tap("further:Made up")
        await d.tap("copy:Made up")
        return both, found, note, d.app.desk.shot.setup.name

    both, found, note, name = drive(tmp_path / "library.db", scenario)

    assert (both, found) == (2, 1)
    assert "Made-up.meterlink.json" in note
    assert (tmp_path / "Made-up.meterlink.json").is_file()
    assert name == "Made up 2"


def test_a_file_that_is_none_is_refused_under_its_field(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where there is no file chooser a path is typed; it is not there: the sentence stands below it."""
    window.prepare()
    monkeypatch.setenv("PATH", str(tmp_path))

    async def scenario(d: Driver) -> str:
        await d.tap("count:1")
        d.app.go("library")
        await d.settled()
        await d.tap("import")
        await d.type("import_path", str(tmp_path / "missing.json"))
        return d.text("import_path:error")

    assert "missing.json" in drive(tmp_path / "library.db", scenario)


def test_a_sensor_nearby_is_two_taps_away(tmp_path: Path) -> None:
    """Found while the first page is shown: one tap connects it, the second begins the set."""

    async def near(found) -> str:
        found(Found("ble:11:22", "studio dome", "light sensor", -50))
        return ""

    async def scenario(d: Driver) -> tuple[int, str, str]:
        await d.tap("found:ble:11:22")
        await d.connected()
        await d.tap("count:1")
        await d.pop_direct()
        await d.until(lambda: d.app.place == "set", "the table by itself")
        await d.settled()
        await d.frames(6)
        return d.taps, d.app.place, d.app.desk.prefs.sensor_url

    taps, place, url = drive(tmp_path / "library.db", scenario, finders=(near,))

    assert taps == 2
    assert place == "set"
    assert url == "ble:11:22"


def test_the_simulated_sensor_is_driven_from_its_page(tmp_path: Path) -> None:
    """Fired with the dome 20 cm off from the sensors page, its controls are there and marked; a real one has none."""

    async def scenario(d: Driver) -> tuple[str, int, bool]:
        await d.tap("count:2")
        d.app.go("sensors")
        before = d.find("sensors:fire") is None
        await d.tap("sensors:simulate")
        await d.connected()
        d.clock.now_s += 2
        await d.tap("sensors:fire_held")
        await d.until(lambda: d.app.desk.shot.last is not None)
        return d.app.page.ids.simulated.text, len(d.app.desk.shot.view.readings), before

    assert drive(tmp_path / "library.db", scenario) == ("simulated", 1, True)


def test_a_url_that_cannot_be_is_refused_under_its_field(tmp_path: Path) -> None:
    """Typed nonsense gets the command line's sentence, without its commands."""
    from meterlink.sensor.link.registry import link_for

    async def scenario(d: Driver) -> str:
        d.app.go("sensors")
        await d.type("sensor_url", "carrier pigeon")
        return d.text("sensor_url:error")

    assert "not a sensor's URL" in drive(tmp_path / "library.db", scenario, make_link=link_for)


def test_settings_act_at_once_and_come_back(tmp_path: Path) -> None:
    """Theme, text size and units change what is seen now and after the next start."""

    async def first(d: Driver) -> tuple[str, float, tuple[float, ...]]:
        await d.tap("count:1")
        d.app.go("settings")
        await d.tap("choice:theme:paper")
        await d.tap("choice:text_scale:2.0")
        await d.tap("choice:units:imperial")
        return d.app.look.theme_name, d.app.look.body, tuple(d.find("choice:theme:paper").color)

    async def second(d: Driver) -> tuple[str, float, bool]:
        return d.app.look.theme_name, d.app.look.text_scale, d.app.desk.prefs.imperial

    name, body, colour = drive(tmp_path / "library.db", first)

    from mobile.theme import BODY, PAPER, rgba

    assert (name, body) == ("paper", BODY * 2)
    assert colour == pytest.approx(rgba(PAPER.ink))
    assert drive(tmp_path / "library.db", second) == ("paper", 2.0, True)


def test_a_setting_that_cannot_be_is_refused_under_its_field(tmp_path: Path) -> None:
    """ISO zero: one sentence, and the ISO stays."""

    async def scenario(d: Driver) -> tuple[str, float]:
        await d.tap("count:1")
        d.app.go("settings")
        await d.type("entry:iso", "0")
        return d.text("entry:iso:error"), d.app.desk.shot.setup.iso

    error, iso = drive(tmp_path / "library.db", scenario)

    assert error
    assert iso == 100.0


def test_pages_are_built_when_they_are_first_gone_to(tmp_path: Path) -> None:
    """At the start there is one page; each further one comes with its first visit."""

    async def scenario(d: Driver) -> list[int]:
        counts = [len(d.app.pages.built)]
        for place in ("place:lights", "place:set", "place:more"):
            await d.tap(place)
            counts.append(len(d.app.pages.built))
        await d.tap("more:settings")
        await d.tap("place:lights")
        counts.append(len(d.app.pages.built))
        return counts

    assert drive(tmp_path / "library.db", scenario) == [1, 2, 3, 4, 5]


def test_the_demo_set_is_one_tap_away(tmp_path: Path) -> None:
    """It opens at its table, with its readings."""

    async def scenario(d: Driver) -> tuple[str, str]:
        await d.tap("demo")
        return d.app.place, d.text("row:CARD:stops")

    place, stops = drive(tmp_path / "library.db", scenario)

    assert place == "set"
    assert "±" in stops


def test_the_numbers_of_the_scale_stand_over_their_ticks(tmp_path: Path) -> None:
    """On a phone, with text twice as large, and on a phone that lies, which writes only some of them."""
    made_up_library(tmp_path / "library.db")

    async def scenario(d: Driver) -> list[tuple[list[str], float]]:
        from mobile.set_state import place_on_band

        found = []
        for width, height, text_scale in ((360, 640, 1.0), (360, 640, 2.0), (640, 400, 1.0)):
            window.resize(width, height)
            await d.app.run(lambda scale=text_scale: d.app.desk.remember(text_scale=scale))
            d.app.wear()
            d.app.go("set")
            await d.settled()
            await d.frames(6)
            ids = d.app.page.ids
            row = ids.rows.children[-1]
            band = next(w for w in row.walk(restrict=True) if w is not row and getattr(w, "band", None))
            off = [
                abs((left + right) / 2 - (band.x + band.width * place_on_band(float(text.replace("\u2212", "-")))))
                for text, _size, left, _low, right, _top in ids.scale.written
            ]
            found.append(([one[0] for one in ids.scale.written], max(off)))
        window.resize(360, 640)
        await d.settled()
        await d.frames(6)
        return found

    found = drive(tmp_path / "library.db", scenario)
    assert [off <= 1.0 for _texts, off in found] == [True] * 3, found
    assert found[2][0] == ["\u22124", "\u22122", "0"]


def test_a_light_overhead_is_warned_of_in_full_text_colour(tmp_path: Path) -> None:
    """Raised to 60° the caution stands on the page in the ink of the text, its sign beside it."""
    made_up_library(tmp_path / "library.db")

    async def scenario(d: Driver) -> tuple[str, object, object]:
        light_id = d.app.desk.shot.lights[0].id
        await d.app.run(lambda: d.app.desk.move_light(light_id, elevation_deg=60.0))
        d.app.go("lights")
        d.app.page.open(light_id)
        await d.settled()
        await d.frames(4)
        words = d.app.page.ids.overhead
        return words.text, list(words.color), [w.sign for w in words.parent.children if hasattr(w, "sign")], list(d.app.look.ink)

    text, colour, signs, ink = drive(tmp_path / "library.db", scenario)
    assert text.startswith("Overhead: weigh down stands")
    assert (colour, signs) == (ink, ["warning"])
