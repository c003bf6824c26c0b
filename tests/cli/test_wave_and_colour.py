"""``wave``, ``colour``, the facts of a set-up and room light, as typed."""

from __future__ import annotations

import csv
import io
import json
import math
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from meterlink.library.export import spreadsheet_safe
from meterlink.library.store import Library, default_path
from meterlink.metering.outcome import OutcomeKind
from meterlink.metering.session import Session
from meterlink.records import Calibration, RangeScale, Reading, Segment, WaveBlock, new_id
from meterlink.sensor.measuring.flash import measure

Run = Callable[..., object]


@pytest.fixture(autouse=True)
def _no_keyboard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody types while these tests run."""
    monkeypatch.setattr("sys.stdin", io.StringIO(""))


@pytest.fixture
def demo(ml: Run) -> Run:
    """A runner on a library with the demo's set."""
    ml("demo")
    return ml


def test_wave_shows_durations_and_what_the_shutter_keeps(demo: Run) -> None:
    """The key's pop as a picture, with both durations, the trail and the shutter."""
    ran = demo("wave", "KEY")

    assert ran.code == 0
    for word in ("peak", "t0.1 1/", "t0.5 1/", "trail of", "all of it is in the picture"):
        assert word in ran.out


def test_wave_writes_pictures_that_open(demo: Run, tmp_path: Path) -> None:
    """PNG and SVG of all lights together."""
    from PIL import Image

    assert demo("wave", "--picture", str(tmp_path / "all.png")).code == 0
    assert demo("wave", "KEY", "HAIR", "--picture", str(tmp_path / "two.svg")).code == 0

    with Image.open(tmp_path / "all.png") as image:
        assert image.size[0] == 1040
    assert "HAIR" in (tmp_path / "two.svg").read_text()
    ran = demo("wave", "--picture", str(tmp_path / "all.gif"))
    assert ran.code == 2
    assert ran.err.count("\n") == 1


def test_csv_integrates_to_the_readings_exposure(demo: Run, tmp_path: Path) -> None:
    """Summing the samples above ambient over time gives the exposure that was logged, within 2 %."""
    path = tmp_path / "key.csv"
    demo("wave", "KEY", "--csv", str(path))
    rows = list(csv.DictReader(io.StringIO(path.read_bytes().decode(), newline="")))

    times = [float(row["time_s"]) for row in rows]
    light = [float(row["above_ambient_lx"]) for row in rows]
    total = sum((b - a) * (x + y) / 2 for a, b, x, y in zip(times, times[1:], light, light[1:], strict=False))
    with Library.open() as library:
        setup = library.current_setup()
        key = library.light(setup.id, "KEY")
        reading = [r for r in library.readings(setup.id) if r.light_id == key.id and r.purpose == "alone"][-1]
    assert total == pytest.approx(reading.exposure_lxs, rel=0.02)
    assert path.read_bytes().count(b"\r\n") == len(rows) + 1


@pytest.mark.parametrize("name", ["=1+1", "+A", "-B", "@SUM(A1)", "=cmd|'/c calc'!A0"])
def test_csv_is_safe_for_spreadsheets(demo: Run, name: str) -> None:
    """A light whose name looks like a formula is text in the file."""
    demo("light", "change", "KEY", f"--rename={name}")
    ran = demo("wave", "--csv", "-", "--", name)

    assert ran.code == 0
    cells = {row[0] for row in csv.reader(io.StringIO(ran.out))} - {"light"}
    assert cells == {spreadsheet_safe(name)}
    assert cells.pop().startswith("'")


def test_csv_into_a_missing_folder_leaves_nothing(demo: Run, tmp_path: Path) -> None:
    """One line, exit code 1, no half-written file."""
    ran = demo("wave", "KEY", "--csv", str(tmp_path / "no" / "x.csv"))

    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert list(tmp_path.glob("**/*.part")) == []


def test_a_clipped_pop_that_counts_is_not_told_to_be_taken_again(small_set: Run) -> None:
    """What the table keeps within bounds the picture calls bounds: whether to fire again is the verdict's answer alone."""
    light = [5] * 128 + [min(255, 5 + round(320 * math.exp(-i / 54))) for i in range(896)]
    block = WaveBlock(0.0, 1, bytes(light), 8, 8, (Segment(0, 1024, 13e-6),), 128)
    with Library.open(default_path()) as library:
        session = Session(library)
        calibration = Calibration(new_id(), "s", 0.0, 330.0, ranges=(RangeScale(2e6),))
        library.add_calibration(calibration)
        session.begin([session.request(session.light("KEY"))])
        assert session.take(measure(block, "s", calibration)).kind == OutcomeKind.LOGGED

    said = small_set("wave", "KEY").out

    assert "these numbers are bounds" in said
    assert "again" not in said


def test_wave_as_data(demo: Run) -> None:
    """Numbers of each light, JSON without NaN, the shutter's part with it."""
    rows = json.loads(demo("wave", "--json").out)

    assert [row["light"] for row in rows] == ["KEY", "CARD", "HAIR", "RIM", "BACKDROP"]
    assert rows[0]["t01_s"] == pytest.approx(1 / 640, rel=0.05)
    assert rows[0]["kept"]["least"] > 0.99


@pytest.mark.parametrize(
    ("typed", "code", "words"),
    [
        (("wave", "NOBODY"), 2, "there is no light"),
        (("wave", "KEY", "--pop", "7"), 2, "no waveform of pop 7"),
        (("wave", "KEY", "--pop", "0"), 2, "1 to 100"),
        (("colour", "--picture", "x.png"), 2, "whose picture"),
        (("colour", "KEY", "--picture", "x.png"), 2, "another power"),
        (("meter", "KEY", "--lamps", "on"), 2, "--room"),
        (("setup", "change", "--shutter-kind", "curtain"), 2, "focal-plane, leaf or electronic"),
        (("setup", "change", "--sync", "soon"), 2, "shutter time"),
        (("setup", "change", "--movement", "quick"), 2, "2m/s"),
        (("setup", "change", "--movement=-3m/s"), 2, "movement"),
        (("setup", "change", "--pixel-pitch", "nan"), 2, "pixel pitch"),
        (("setup", "change", "--pixel-pitch", "4000um"), 2, "0.1 to 100"),
        (("setup", "change", "--blur-limit", "lots"), 2, "blur limit"),
        (("setup", "change", "--backdrop-reflectance", "180%"), 2, "0 to 1"),
        (("setup", "change", "--mark", "x" * 300), 2, "too long"),
        (("setup", "change", "--focal-length", "1e999"), 2, "focal length"),
    ],
)
def test_what_cannot_be_is_one_line(demo: Run, typed: tuple[str, ...], code: int, words: str) -> None:
    """Every wrong use gives its exit code and one line that says what to do."""
    ran = demo(*typed)

    assert ran.code == code
    assert words in ran.err
    assert ran.err.count("\n") == 1


def test_facts_are_kept_shown_and_forgotten(demo: Run) -> None:
    """What was typed is in the set-up in SI units beside what was there; ``none`` forgets it."""
    demo("setup", "change", "--shutter-kind", "leaf", "--sync", "1/500", "--curtain-travel", "1.5ms", "--movement", "2m/s",
         "--pixel-pitch", "4,3um", "--focal-length", "85mm", "--blur-limit", "2mm")  # fmt: skip
    details = json.loads(demo("setup", "show", "--json").out)["details"]

    assert details["shutter_kind"] == "leaf"
    assert details["sync_speed_s"] == pytest.approx(1 / 512)
    assert details["curtain_travel_s"] == pytest.approx(0.0015)
    assert (details["movement_m_s"], details["pixel_pitch_um"], details["blur_limit_mm"]) == (2.0, 4.3, 2.0)
    assert details["mark"] == "stool on the taped cross"
    assert "shutter kind: leaf" in demo("setup", "show").out
    assert "movement: 0.914 m/s" in demo("setup", "change", "--movement", "3 feet/s").out

    demo("setup", "change", "--movement", "dancer", "--blur-limit", "none", "--shutter-kind", "none")
    details = json.loads(demo("setup", "show", "--json").out)["details"]
    assert details["movement"] == "dancer"
    assert not {"movement_m_s", "blur_limit_mm", "shutter_kind"} & set(details)


def test_meter_says_how_long_the_flash_was(small_set: Run) -> None:
    """Below each logged pop stand t0.1 and t0.5."""
    ran = small_set("meter", "KEY", "--sensor", "sim:?every=0.9&lights=KEY")

    assert "t0.1 1/" in ran.out.split("verdict")[0]
    assert "t0.5 1/" in ran.out


def test_each_pop_of_a_reading_has_its_waveform(small_set: Run) -> None:
    """Of three averaged pops each can be looked at: three different waveforms, and no fourth."""
    small_set("meter", "KEY", "--pops", "3", "--sensor", "sim:?every=0.8&lights=KEY,KEY,KEY")

    seen = [small_set("wave", "KEY", "--pop", str(n), "--csv", "-").out for n in (1, 2, 3)]

    assert len(set(seen)) == 3
    assert small_set("wave", "KEY", "--csv", "-").out == seen[2]
    assert small_set("wave", "KEY", "--pop", "4").code == 2


def test_watch_draws_each_pop(ml: Run) -> None:
    """``watch --wave`` shows the waveform below each pop."""
    ran = ml("watch", "--wave", "--sensor", "sim:?every=0.9", "--pops", "1")

    assert ran.code == 0
    assert "├" in ran.out
    assert "10 %" in ran.out


def test_room_light_with_lamps_reaches_the_checks(demo: Run) -> None:
    """A room reading with the lamps on at a slow shutter is a finding with its numbers."""
    demo("setup", "change", "--shutter", "1/8")
    assert demo("meter", "--room", "--lamps", "on", "--sensor", "sim:?every=0").code == 0
    found = [one for one in json.loads(demo("checks", "--json").out) if one["kind"] == "room_light"]

    assert len(found) == 1
    assert found[0]["numbers"]["lamps"] == "lamps on"
    assert "--shutter 1/" in found[0]["advice"]


def test_shutter_beyond_sync_reaches_the_checks(demo: Run) -> None:
    """1/500 s with a focal-plane shutter is a caution in the list of findings."""
    demo("setup", "change", "--shutter", "1/500", "--sync", "1/200", "--shutter-kind", "focal-plane")

    assert "sync speed of 1/200 s" in demo("checks").out


def add_colour(name: str, cct_k: float, duv: float) -> None:
    """A reading of a light by a sensor that sees colour."""
    with Library.open() as library:
        setup = library.current_setup()
        light = library.light(setup.id, name)
        known = library.calibrations("tint")
        calibration = known[0] if known else Calibration(new_id(), "tint", time.time(), 330.0, ranges=(RangeScale(1e5),))
        if not known:
            library.add_calibration(calibration)
        place = library.current_placements(setup.id)[light.id]
        library.add_reading(
            Reading(new_id(), setup.id, light.id, place.id, calibration.id, "tint", time.time(), exposure_lxs=100.0,
                    point=light.point, held_off_m=0.0, cct_k=cct_k, duv=duv)
        )  # fmt: skip


def test_colour_table_and_drift(small_set: Run, tmp_path: Path) -> None:
    """Lights read with a colour sensor stand against the key with their gel; one head at two powers has a plot."""
    assert "no light was read" in small_set("colour").out
    small_set("light", "move", "FILL", "--power", "1/1")
    add_colour("KEY", 5500.0, 0.001)
    add_colour("FILL", 5000.0, 0.001)
    small_set("light", "move", "FILL", "--power", "1/8")
    add_colour("FILL", 5800.0, 0.002)

    rows = {row["light"]: row for row in json.loads(small_set("colour", "--json").out)}
    assert rows["FILL"]["gel_mired"] == pytest.approx(1e6 / 5500 - 1e6 / 5800)
    assert "lowers the CCT" in small_set("colour").out
    ran = small_set("colour", "FILL", "--picture", str(tmp_path / "drift.png"))
    assert "5000 K" in ran.out
    assert "5800 K" in ran.out
    assert (tmp_path / "drift.png").read_bytes().startswith(b"\x89PNG")
    kinds = [one["kind"] for one in json.loads(small_set("checks", "--json").out)]
    assert "colour_drift" in kinds
