"""Recordings: what is written, what is played, and what a damaged one does."""

from __future__ import annotations

import asyncio
import errno
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlink.errors import LinkError, LinkNotFound, MeterlinkError, RecordingEnded, UsageError
from meterlink.library.store import Library
from meterlink.metering.sensor_in_use import SensorInUse
from meterlink.records import Measurement
from meterlink.sensor.link.reconnect import ReconnectingLink
from meterlink.sensor.link.recording import FileLink, RecordingLink, read_header, records
from meterlink.sensor.link.registry import link_for
from meterlink.sensor.measuring.sensor import Sensor
from meterlink.simulation.sensor import SimulatedLink
from meterlink.simulation.studio import Pulse
from meterlink.testing import FakeClock, ScriptedLink, settle

HEADER = '{"format":"meterlink recording","version":1,"url":"x:","started":"2031-01-01T00:00:00Z"}\n'


async def play(link: FileLink) -> tuple[list[tuple[bytes, float, str]], LinkError]:
    """Play a recording to its end."""
    got: list[tuple[bytes, float, str]] = []
    ended: asyncio.Future[LinkError] = asyncio.get_running_loop().create_future()
    await link.open(lambda *record: got.append(record), ended.set_result)
    error = await asyncio.wait_for(ended, 10)
    await link.close()
    return got, error


def test_what_was_heard_is_played_back_with_channels_and_times(tmp_path: Path) -> None:
    """Bytes, channels and distances in time come out as they went in, at any speed."""
    path = tmp_path / "one.jsonl"

    async def work() -> None:
        clock = FakeClock(50.0)
        inner = ScriptedLink([(b"who", b"me")], clock=clock)
        link = RecordingLink(inner, path, clock=clock, now=lambda: 0.0)
        await link.open(lambda *_: None, lambda _: None)
        await link.write(b"who")
        clock.now_s += 1.5
        inner.say(bytes(range(256)), "2AFB")
        clock.now_s += 0.25
        inner.say(b"end")
        await link.close()
        got, error = await play(FileLink(path, speed=0.0, clock=lambda: 7.0))
        assert got == [(b"me", 7.0, ""), (bytes(range(256)), 8.5, "2AFB"), (b"end", 8.75, "")]
        assert isinstance(error, RecordingEnded)

    asyncio.run(work())
    assert [r.direction for r in records(path)] == ["open", "out", "in", "in", "in"]
    assert read_header(path)["started"] == "1970-01-01T00:00:00Z"


def test_the_original_timing_is_kept_or_divided(tmp_path: Path) -> None:
    """Played at speed 2, what took two seconds takes one by the clock, and the handed-on times stay the original's."""
    path = tmp_path / "two.jsonl"
    path.write_text(HEADER + '{"t":0,"d":"in","b":"YQ=="}\n{"t":2,"d":"in","b":"Yg=="}\n')

    async def work() -> None:
        clock = FakeClock(0.0)
        got: list[tuple[bytes, float, float]] = []
        link = FileLink(path, speed=2.0, clock=clock, sleep=clock.sleep)
        await link.open(lambda data, at_s, _: got.append((data, at_s, clock())), lambda _: None)
        await clock.advance(0.9)
        assert got == [(b"a", 0.0, 0.0)]
        await clock.advance(0.2)
        assert got[1] == (b"b", 2.0, 1.0)
        await link.close()

    asyncio.run(work())


def test_a_whole_sensor_is_reproduced_from_its_recording(tmp_path: Path) -> None:
    """The measurements of a replay are those of the live session: same light, same notes, same distances in time."""
    path = tmp_path / "set.jsonl"

    async def live() -> list[Measurement]:
        clock = FakeClock()
        pops: list[Measurement] = []
        simulated = SimulatedLink(clock=clock, sleep=clock.sleep)
        sensor = Sensor(RecordingLink(simulated, path, clock=clock), None, pops.append, None, clock, sleep=clock.sleep)
        await sensor.start()
        await settle()
        for exposure_lxs in (300.0, 40.0, 40.0, 900.0, 500.0):
            await clock.advance(1.0)
            simulated.pop(Pulse(exposure_lxs))
        simulated.pop_damaged(Pulse(100.0))
        simulated.garbage()
        await clock.advance(5.0)
        await sensor.stop()
        return pops

    async def again() -> list[Measurement]:
        pops: list[Measurement] = []
        ended = asyncio.Event()
        sensor = Sensor(link_for(f"file:{path}?speed=max"), None, pops.append, lambda s: s.error and ended.set())
        await sensor.start()
        await asyncio.wait_for(ended.wait(), 10)
        await sensor.stop()
        return pops

    before, after = asyncio.run(live()), asyncio.run(again())
    assert len(before) == 6

    def figures(pops: list[Measurement]) -> list[Any]:
        return [
            (round(p.at_s - pops[0].at_s, 5), p.exposure_lxs, p.note, p.clipped, p.incomplete, p.wave and p.wave.data) for p in pops
        ]

    assert figures(after) == figures(before)


def test_a_recording_cut_off_at_any_byte_plays_what_is_whole(tmp_path: Path) -> None:
    """A crash in mid-write costs at most the last record, wherever it struck."""
    lines = [HEADER] + [f'{{"t":{i},"d":"in","b":"{"QUJD" * i}"}}\n' for i in range(1, 4)]
    whole = "".join(lines)
    for cut in range(len(HEADER), len(whole) + 1):
        path = tmp_path / f"cut{cut}.jsonl"
        path.write_text(whole[:cut])
        complete = whole[:cut].count("\n") - 1
        assert [r.data for r in records(path)] == [b"ABC" * i for i in range(1, complete + 1)]


def test_two_runs_do_not_mix_in_one_file(tmp_path: Path) -> None:
    """A file that is there already is not written to."""
    path = tmp_path / "kept.jsonl"
    path.write_text("precious")
    link = RecordingLink(ScriptedLink(), path)
    with pytest.raises(UsageError, match="there already"):
        asyncio.run(link.open(lambda *_: None, lambda _: None))
    assert path.read_text() == "precious"


def test_a_link_opened_again_goes_on_in_the_same_recording(tmp_path: Path) -> None:
    """Inside a link that reconnects, each opening goes on where the last one ended, in one time."""
    path = tmp_path / "again.jsonl"

    async def work() -> None:
        clock = FakeClock(10.0)
        inner = ScriptedLink(clock=clock)
        link = RecordingLink(inner, path, clock=clock)
        for data in (b"one", b"two"):
            await link.open(lambda *_: None, lambda _: None)
            clock.now_s += 1.0
            inner.say(data)
            await link.close()

    asyncio.run(work())
    assert [(r.at_s, r.direction, r.data) for r in records(path)] == [
        (0.0, "open", b""), (1.0, "in", b"one"), (1.0, "open", b""), (2.0, "in", b"two"),
    ]  # fmt: skip


class Full:
    """A file on a full disk."""

    def write(self, _text: str) -> None:
        """Fail."""
        raise OSError(errno.ENOSPC, "No space left on device")

    def close(self) -> None:
        """Close."""


def test_a_full_disk_ends_the_recording_and_not_the_metering(tmp_path: Path) -> None:
    """When nothing can be written any more the bytes still flow, and the trouble is told once."""

    async def work() -> None:
        inner, got, told = ScriptedLink(), list[bytes](), list[str]()
        link = RecordingLink(inner, tmp_path / "full.jsonl", on_trouble=told.append)
        await link.open(lambda data, *_: got.append(data), lambda _: None)
        assert link._file is not None
        link._file.close()
        link._file = Full()  # type: ignore[assignment]
        inner.say(b"one")
        inner.say(b"two")
        await link.close()
        assert got == [b"one", b"two"]
        assert len(told) == 1
        assert "No space left" in told[0]

    asyncio.run(work())


def test_a_recording_that_stops_is_told_to_who_uses_the_sensor(tmp_path: Path) -> None:
    """The photographer hears it with the sensor's own news, and once: metering goes on."""

    async def work(library: Library) -> list[str]:
        said: list[str] = []
        using = SensorInUse(
            library, "sim:?every=0", record_to=str(tmp_path / "day"), on_state=lambda state: said.append(state.words)
        )
        await using.open()
        await using.identified()
        tap = using.sensor.link
        tap._file.close()
        tap._file = Full()
        await tap.write(using.sensor.decoder.identify())
        await tap.write(using.sensor.decoder.identify())
        assert using.failed is None
        await using.close()
        return said

    with Library.open(tmp_path / "library.sqlite") as library:
        said = asyncio.run(work(library))
    assert sum("No space left" in words for words in said) == 1


def test_a_tap_around_a_reconnecting_link_shows_its_states(tmp_path: Path) -> None:
    """The tap has states exactly when the link behind it has."""
    plain = RecordingLink(ScriptedLink(), tmp_path / "a")
    kept = RecordingLink(ReconnectingLink("x:", lambda _: ScriptedLink()), tmp_path / "b")
    assert not hasattr(plain, "on_state")
    assert hasattr(kept, "on_state")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "not a recording"),
        ("hello\n", "not a recording"),
        ("[1]\n", "not a recording"),
        ("[" * 100_000 + "\n", "not a recording"),
        ('{"format":"meterlink recording","version":2}\n', "version 2"),
        (HEADER + "nonsense\n", "line 2"),
        (HEADER + '{"t":0,"d":"in","b":"YQ=="}\n{"t":0,"d":"in","b":"not base64!"}\n', "line 3"),
        (HEADER + '{"t":-1,"d":"in","b":""}\n', "line 2"),
        (HEADER + '{"t":"NaN","d":"in","b":""}\n', "line 2"),
        (HEADER + '{"t":NaN,"d":"in","b":""}\n', "line 2"),
        (HEADER + '{"t":0,"d":"up","b":""}\n', "line 2"),
        (HEADER + '{"t":0,"e":"exploded"}\n', "line 2"),
        (HEADER + '{"t":0,"d":"in","b":"' + "A" * 300_000 + '"}\n', "line 2"),
        (HEADER + "\u00e4\n", "line 2"),
    ],
)
def test_a_damaged_recording_is_one_clear_line(tmp_path: Path, text: str, says: str) -> None:
    """What is no recording is refused at once; a damaged line is named, and what came before it was played."""
    path = tmp_path / "bad.jsonl"
    path.write_text(text, encoding="utf-8")

    async def work() -> LinkError:
        try:
            return (await play(FileLink(path, speed=0.0)))[1]
        except LinkError as error:
            return error

    error = asyncio.run(work())
    assert says in str(error)
    assert "\n" not in str(error)
    assert not isinstance(error, RecordingEnded)


def test_a_missing_recording_and_a_folder(tmp_path: Path) -> None:
    """No file, or something that is no file, is told before anything is played."""
    with pytest.raises(LinkNotFound):
        read_header(tmp_path / "none")
    with pytest.raises(LinkError, match="cannot be read"):
        read_header(tmp_path)


@pytest.mark.parametrize("speed", ["0", "-1", "fast", "nan", "1e9", ""])
def test_impossible_speeds_are_refused(speed: str) -> None:
    """Only positive numbers and max are speeds."""
    with pytest.raises(UsageError, match="speed is max"):
        link_for(f"file:x?speed={speed}")


@settings(max_examples=200)
@given(st.binary(max_size=400))
def test_any_file_is_played_or_refused(tmp_path_factory: pytest.TempPathFactory, junk: bytes) -> None:
    """Whatever is in the file, the only exceptions are ours."""
    path = tmp_path_factory.mktemp("junk") / "r.jsonl"
    path.write_bytes(HEADER.encode() + junk)
    try:
        for record in records(path):
            json.dumps(record.at_s)
    except MeterlinkError:
        pass
