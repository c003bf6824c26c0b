"""``meter``, ``demo`` and ``watch`` through real links: the simulated sensor, a recording, a pty."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from meterlink.library.store import Library
from meterlink.metering.session import Session

Run = Callable[..., object]


@pytest.fixture(autouse=True)
def _no_keyboard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody types while these tests run."""
    import io

    monkeypatch.setattr("sys.stdin", io.StringIO(""))


def test_demo_shows_the_whole_job(ml: Run) -> None:
    """The demo ends with a table in which the key is corrected by half a stop and the re-powered light is current."""
    ran = ml("demo")

    rows = {row["light"]: row for row in json.loads(ml("ratios", "--json").out)}
    assert ran.code == 0
    assert rows["KEY"]["verdict"] == "corrected"
    assert rows["KEY"]["correction_stops"] == pytest.approx(-0.46, abs=0.03)
    assert rows["BACKDROP"]["from_key_stops"] == pytest.approx(-2.2, abs=0.1)
    assert rows["CARD"]["role"] == "fill"
    assert rows["HAIR"]["share"] is None
    assert "SIMULATED" in ran.out


def test_demo_against_what_its_lights_really_give(ml: Run) -> None:
    """Every light of the demo is within 0.1 stop of the truth in its script (the card, a difference, within 0.2)."""
    from math import log2

    from meterlink.demo import script

    ml("demo")
    rows = {row["light"]: row for row in json.loads(ml("ratios", "--json").out)}

    for one in script()["lights"]:
        power = -2 if one["name"] == "BACKDROP" else 0
        true_f2 = one["true_exposure_lxs"] * 2.0**power * 100 / 330
        error = log2(rows[one["name"]]["corrected_f"] ** 2 / true_f2)
        assert abs(error) < (0.2 if "reflector_of" in one else 0.1), one["name"]


def test_a_second_demo_is_a_fresh_set_up(ml: Run) -> None:
    """The demo never mixes with what is in the library."""
    ml("demo")
    ml("demo")

    names = [one["name"] for one in json.loads(ml("setup", "list", "--json").out)]
    assert len(names) == len(set(names)) == 2


def test_meter_walks_through_the_lights_with_the_simulated_sensor(small_set: Run) -> None:
    """One pop a light from ``sim:``; the table follows at once."""
    ran = small_set("meter", "KEY@10cm", "FILL", "--sensor", "sim:?every=0.9&lights=KEY,FILL,FILL,FILL")

    assert ran.code == 0
    rows = json.loads(small_set("ratios", "--json").out)
    assert all(row["corrected_f"] for row in rows)
    assert "waiting for FILL" in ran.out


def test_the_pop_of_all_lights_is_declared_like_any_other(small_set: Run) -> None:
    """``--together@0cm`` keeps the distance with the reading; without it none is assumed; nonsense is refused in a line."""
    for option in ("--together@0cm", "--together"):
        assert small_set("meter", option, "--sensor", "sim:?every=0.9").code == 0
    with Library.open(Path(os.environ["METERLINK_LIBRARY"])) as library:
        kept = library.all_readings(library.current_setup().id)
    assert [(r.purpose, r.held_off_m) for r in kept] == [("together", 0.0), ("together", None)]
    assert small_set("meter", "--together@", "--sensor", "sim:").code == 2
    assert small_set("meter", "--together@far", "--sensor", "sim:").code == 2


def test_a_recording_that_ends_too_early_says_what_is_missing(small_set: Run, tmp_path: Path) -> None:
    """When the recording is over and a light still waits, that is an error, and what was logged stays."""
    recorded = tmp_path / "one.mlrec"
    small_set("meter", "KEY", "--sensor", "sim:?every=0.9&lights=KEY", "--record", str(recorded))
    small_set("undo")

    ran = small_set("meter", "KEY", "FILL", "--sensor", f"file:{recorded}?speed=max")

    assert ran.code == 1
    assert "ended" in ran.err
    rows = json.loads(small_set("ratios", "--json").out)
    assert rows[0]["corrected_f"] is not None
    assert rows[1]["corrected_f"] is None


def test_a_sensor_that_is_gone_in_mid_walk_ends_it_with_its_reason(small_set: Run, tmp_path: Path) -> None:
    """A link that cannot come back, lost after the first light was logged, is an error and no endless wait."""
    recorded = tmp_path / "one.mlrec"
    small_set("meter", "KEY", "--sensor", "sim:?every=0.9&lights=KEY", "--record", str(recorded))
    small_set("undo")

    # In its own time, or nearly: the sensor is known and the key logged before the recording ends.
    ran = small_set("meter", "KEY", "FILL", "--sensor", f"file:{recorded}?speed=4")

    assert ran.code == 1
    assert "KEY f/" in ran.out
    assert "ended" in ran.err


def test_resume_goes_on_where_the_walk_stopped(small_set: Run, tmp_path: Path) -> None:
    """After an interruption ``--resume`` waits for the light that was next."""
    recorded = tmp_path / "one.mlrec"
    small_set("meter", "KEY", "--sensor", "sim:?every=0.9&lights=KEY", "--record", str(recorded))
    small_set("meter", "KEY", "FILL", "--sensor", f"file:{recorded}?speed=max")

    ran = small_set("meter", "--resume", "--sensor", "sim:?every=0.9&lights=FILL")

    assert ran.code == 0
    assert "waiting for FILL" in ran.out
    assert "waiting for KEY" not in ran.out


def test_a_known_set_is_metered_in_any_order(small_set: Run) -> None:
    """Fill first, then key: each pop tells whose it is, and the table has both where they belong."""
    small_set("meter", "KEY", "FILL", "--sensor", "sim:?every=0.9&lights=KEY,FILL")
    before = {row["light"]: row["as_read_f"] for row in json.loads(small_set("ratios", "--json").out)}

    ran = small_set("meter", "--all", "--any", "--sensor", "sim:?every=0.9&lights=FILL,KEY,KEY")

    assert ran.code == 0
    assert "waiting for KEY or FILL in any order" in ran.out
    assert ran.out.index("FILL f/") < ran.out.index("KEY f/")
    after = {row["light"]: row["as_read_f"] for row in json.loads(small_set("ratios", "--json").out)}
    assert after == pytest.approx(before, rel=0.02)


def test_an_unknown_set_in_any_order_asks_for_the_announced_one(small_set: Run) -> None:
    """Nothing tells key from fill yet: that is said before the first pop, and they are asked for one after the other."""
    ran = small_set("meter", "--all", "--any", "--sensor", "sim:?every=0.9")

    assert ran.code == 0
    assert "none of these lights is known yet: fire them in this order" in ran.out
    assert ran.out.index("waiting for KEY") < ran.out.index("waiting for FILL")


def test_any_order_takes_one_pop_of_each_light(small_set: Run) -> None:
    """Steady light, the room, all together and averages have no order to be told by a pop."""
    for option in (["--steady"], ["--room"], ["--together"], ["--pops", "2"]):
        ran = small_set("meter", "--any", *option, "--sensor", "sim:")
        assert (ran.code, "--any takes one pop" in ran.err) == (2, True)


def test_a_lamp_is_metered_as_steady_light_without_saying_so_again(small_set: Run) -> None:
    """Lights that were only ever read as steady light, their reflector and all of them together burn; --no-steady wants a pop.

    Each of the simulated ones gives what it should, and fires nothing.
    """
    small_set("light", "add", "CARD", "60x80cm", "70cm", "60 left", "--role", "other", "--reflector-of", "KEY")
    first = small_set("meter", "KEY@0cm", "FILL@0cm", "--steady", "--sensor", "sim:")
    assert "waiting for KEY: switch it on alone" in first.out
    assert {row["verdict"] for row in json.loads(small_set("ratios", "--json").out)} == {"good", None}
    again = small_set("meter", "FILL", "CARD", "--sensor", "sim:")
    assert "waiting for CARD: switch KEY on alone with it" in again.out
    assert "switch KEY, FILL, CARD on" in small_set("meter", "--together", "--sensor", "sim:").out
    assert not any("a pop" in ran.out for ran in (first, again))
    with Library.open() as library:
        assert {r.kind for r in library.readings(library.current_setup().id)} == {"steady"}
    assert "waiting for KEY: fire it alone" in small_set("meter", "KEY", "--no-steady", "--sensor", "sim:").out


def test_room_light_is_read_without_a_pop(small_set: Run) -> None:
    """``--room`` takes steady light and logs it for the whole set."""
    ran = small_set("meter", "--room", "--sensor", "sim:?every=0")

    assert ran.code == 0
    with Library.open() as library:
        readings = library.readings(library.current_setup().id)
    assert [r.purpose for r in readings] == ["room"]
    assert readings[0].illuminance_lx == pytest.approx(60, rel=0.2)
    assert small_set("undo").out == "taken back: the room light; read it again: meterlink meter --room\n"


def test_a_dome_held_aside_is_asked_for_where_it_is_logged(small_set: Run) -> None:
    """Above the face, and not toward the light: what is waited for and what becomes of the reading say the same place."""
    ran = small_set("meter", "KEY@20cm", "--held-off-toward", "up", "--sensor", "sim:?every=0.9")

    assert "fire it alone, dome 20 cm above the face, toward the light" in ran.out
    assert "corrected: dome 20 cm above the face" in ran.out


def test_a_card_that_stands_there_is_in_every_pop_of_its_source(small_set: Run) -> None:
    """The simulated set throws back the key's light into a pop of the key with others: the readings add up, none is blamed."""
    small_set("light", "add", "CARD", "80x120cm", "70cm", "-60", "--role", "other", "--reflector-of", "KEY")
    small_set("meter", "KEY@0cm", "FILL@0cm", "CARD@0cm", "--sensor", "sim:?every=0.9")
    small_set("meter", "KEY", "FILL", "--together@0cm", "--sensor", "sim:?every=0.9")

    assert "agrees with the sum of each" in small_set("checks").out


def test_watch_shows_pops_and_logs_nothing(ml: Run, tmp_path: Path) -> None:
    """Watching makes no reading."""
    ran = ml("watch", "--sensor", "sim:?every=0.9", "--pops", "1")

    assert "pop  f/" in ran.out
    with Library.open() as library:
        assert library.setups() == []


def test_raw_waveforms_are_kept_with_the_reading(ml: Run) -> None:
    """After the demo the key's waveform is in the library."""
    ml("demo")

    with Library.open() as library:
        setup = library.current_setup()
        key = library.light(setup.id, "KEY")
        reading = [r for r in library.readings(setup.id) if r.light_id == key.id and r.purpose == "alone"][-1]
        wave = library.waveform(reading.id)
    assert wave is not None
    assert len(wave.data) > 500


def test_a_dial_left_where_it_was_is_named_and_said_afterwards(small_set: Run) -> None:
    """Said 1/8, still at 1/4: the dial is named after the pop and in the table; saying where it stands takes no pop."""
    sensor = "sim:?every=0.9&lights=KEY"
    small_set("meter", "KEY@0", "--sensor", sensor)
    small_set("light", "move", "KEY", "--power", "1/8")
    ran = small_set("meter", "KEY@0", "--sensor", sensor)
    said = "it reads like 1/4, 1/8 was said: look at the dial"
    row = json.loads(small_set("ratios", "--json").out)[0]
    (found,) = [one for one in json.loads(small_set("checks", "--json").out) if one["kind"] == "prediction"]

    assert said in " ".join(ran.out.split())
    assert said in row["reason"]
    assert row["verdict"] == "retake"
    assert found["advice"].endswith("meterlink light move KEY --power 1/4 --as-metered")
    moved = small_set("light", "move", "KEY", "--power", "1/4", "--as-metered")
    assert moved.code == 0, moved.err
    after = json.loads(small_set("ratios", "--json").out)[0]
    assert (after["verdict"], after["stale"], after["corrected_f"]) == ("good", False, row["corrected_f"])
    assert small_set("wave", "KEY").code == 0


@pytest.mark.parametrize(("sync", "said"), [("1/200", True), ("1/320", False)])
def test_the_camera_is_never_set_beyond_the_sync_speed_in_silence(small_set: Run, tmp_path: Path, sync: str, said: bool) -> None:
    """1/250 s on a camera that syncs at 1/200: said under the table's own line, after metering and on the sheet; not at 1/320."""
    small_set("setup", "change", "--shutter", "1/250", "--sync", sync)
    ran = small_set("meter", "KEY@0", "--sensor", "sim:?every=0.9&lights=KEY")
    table = small_set("ratios").out
    assert small_set("sheet", "-o", str(tmp_path / "page.html")).code == 0
    page = (tmp_path / "page.html").read_text(encoding="utf-8").replace("\N{NO-BREAK SPACE}", " ")

    for text in (ran.out, table):
        assert "1/250 s" in text
        assert ("! 1/250 s is faster than the sync speed of 1/200 s" in " ".join(text.split())) == said
    assert ("1/250 s (faster than the sync speed of 1/200 s)" in page) == said


def test_what_was_said_of_a_pop_last_is_all_that_is_learnt_from_it(small_set: Run) -> None:
    """A pop whose power was corrected afterwards does not teach that the dial does nothing: a tenth less is a tenth less."""
    sensor = "sim:?every=0.9&lights=KEY"
    small_set("light", "move", "KEY", "--power-step", "0.1")
    small_set("meter", "KEY@0", "--sensor", sensor)
    small_set("light", "move", "KEY", "--power", "1/8")
    small_set("meter", "KEY@0", "--sensor", sensor)
    small_set("light", "move", "KEY", "--power", "1/4", "--as-metered")
    move = json.loads(small_set("targets", "KEY=f/4", "--json").out)["rows"][0]["move"]

    assert not move["learnt"]
    assert move["achieved_stops"] == pytest.approx(move["power_stops"] + 2.0)


def test_a_pop_is_no_witness_for_itself(small_set: Run, tmp_path: Path) -> None:
    """A distance that is said afterwards replaces what was said before: the old record does not speak for the new one."""
    small_set("meter", "KEY", "--sensor", "sim:?every=0.9&lights=KEY")
    small_set("held", "KEY", "20cm")
    with Library.open(tmp_path / "library.sqlite") as library:
        view = Session(library).view()

    assert [r.held_off_m for r in view.readings] == [0.2]
    assert view.earlier == ()


def test_what_the_calibration_is_worth_is_said_once_a_walk(small_set: Run) -> None:
    """At its beginning; the table that follows in the same breath leaves it out, and the one that is asked for later has it."""
    walked = small_set("meter", "--all", "--sensor", "sim:").out

    assert walked.count("calibrat") == 1
    assert small_set("ratios").out.count("assumed calibration") == 1


def test_the_table_ends_with_how_much_the_checks_found(small_set: Run) -> None:
    """And with where to read it; of notes alone it says nothing."""
    small_set("setup", "change", "--shutter", "1/250", "--sync", "1/200")
    assert small_set("ratios").out.splitlines()[-1] == "1 doubt: meterlink checks"
    walked = small_set("meter", "--all", "--sensor", "sim:").out
    assert walked.splitlines()[-1] == "1 caution: meterlink checks"

    small_set("setup", "change", "--shutter", "1/125")
    assert "meterlink checks" not in small_set("ratios").out


def test_both_pops_of_a_reflector_say_to_point_the_dome_toward_it(small_set: Run) -> None:
    """Toward the light, as for every other light, it would see the source and hardly the card."""
    small_set("light", "add", "CARD", "80x120cm", "70cm", "-60", "--role", "other", "--reflector-of", "KEY")
    asked = [line for line in small_set("meter", "CARD", "--sensor", "sim:").out.splitlines() if line.startswith("waiting for")]

    assert asked == [
        "waiting for CARD: fire KEY with it, dome at the face toward CARD",
        "waiting for CARD: fire KEY without it, dome at the face toward CARD",
    ]


def test_a_reason_that_several_lights_share_is_said_once(small_set: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """At a terminal, where the reasons stand below the table."""
    small_set("meter", "--all", "--sensor", "sim:")
    monkeypatch.setattr("meterlink.cli.ratios.is_terminal", lambda: True)
    said = [line for line in small_set("ratios").out.splitlines() if "distance not given" in line]

    assert said == ["distance not given, 0–6 cm toward the light assumed: KEY, FILL"]
