"""Build (d) over the air: way 1 of shared/wire/ble-v1.md, with a central of the bench in place of a phone.

The same frames go over USB at the same time, so each test knows what must have come.
"""

from __future__ import annotations

import random
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import board_reader as r
import pytest
from board_bench import FULL_SCALE_LX, Board, Pulse, why_not

from meterlink.records import Identity, WaveBlock
from meterlink.sensor.dialects.native import NativeDecoder

pytestmark = pytest.mark.skipif(why_not() is not None, reason=str(why_not()))
CONNECT, DISCONNECT, WRITE, MTU, HEARD, ADVERTISED, ROOM = 1, 2, 3, 21, 100, 101, 102
SETTINGS = '{"rate_khz": 250, "bluetooth": true, "name": "bench"}'
SERVICE = uuid.UUID("ded30001-ec13-4504-baae-27cc2e3d87d8").bytes[::-1]
"""Little-endian, as an advertisement has it."""


class Central:
    """A phone beside the board: what it heard, and over USB what was said."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.pieces: list[bytes] = []
        self.usb = b""

    @property
    def heard(self) -> bytes:
        """All notifications in a row."""
        return b"".join(self.pieces)

    def listen(self, duration_s: float) -> None:
        """Let time pass."""
        for _ in range(round(duration_s / 0.005)):
            self.board.step(0.005)
            self.usb += self.board.read()
            data = self.board.happen(HEARD)
            while data:
                self.pieces.append(data[1 : 1 + data[0]])
                data = data[1 + data[0] :]

    def connect(self, mtu: int = 0) -> None:
        """Connect, and agree on an MTU when there is one."""
        self.pieces = []
        self.board.happen(CONNECT)
        if mtu:
            self.board.happen(MTU, mtu.to_bytes(2, "little"))

    def write(self, data: bytes, most: int = 20) -> None:
        """Write in pieces."""
        for at in range(0, len(data), most):
            self.board.happen(WRITE, data[at : at + most])


@contextmanager
def beside(folder: Path, mtu: int, before_s: float = 0.1) -> Iterator[tuple[Board, Central]]:
    """A board that runs, and a central that has connected to it after a while."""
    with Board(folder, rate_khz=250, settings=SETTINGS) as board:
        central = Central(board)
        central.listen(before_s)
        central.connect(mtu)
        yield board, central


def greeted(central: Central) -> bool:
    """Whether what was heard begins with 0x00, as whoever begins to speak must."""
    return not central.pieces[0].strip(b"\0")


def frames(data: bytes) -> list[bytes]:
    """Whole frames, empty ones left out."""
    return [one for one in data.split(b"\0")[:-1] if one]


def test_it_advertises_its_service_and_its_name(tmp_path: Path) -> None:
    """While nobody is connected: flags, the service's number of 128 bits, the name; not while somebody is; then again."""
    with Board(tmp_path, rate_khz=250, settings=SETTINGS) as board:
        said = board.happen(ADVERTISED)
        board.happen(CONNECT)
        meanwhile = board.happen(ADVERTISED)
        board.happen(DISCONNECT)
        again = board.happen(ADVERTISED)
    assert said == b"\x02\x01\x06" + b"\x11\x07" + SERVICE + b"|" + b"\x06\x09bench"
    assert (meanwhile, again) == (b"", said)


def test_a_name_of_many_bytes_is_cut_between_two_letters(tmp_path: Path) -> None:
    """Sixteen letters of two bytes do not fit an advertisement of 31: the thirteen that do are told, and the board starts."""
    with Board(tmp_path, rate_khz=250, settings=SETTINGS.replace("bench", "ä" * 16)) as board:
        said = board.happen(ADVERTISED).split(b"|", 1)[1]
    assert said == b"\x1b\x09" + ("ä" * 13).encode()


@pytest.mark.parametrize("mtu", [0, 64, 185, 247, 517])
def test_a_flash_comes_in_pieces_that_fill_the_mtu(mtu: int, tmp_path: Path) -> None:
    """0x00 first, then each frame as over USB, in order, in pieces of at most ATT_MTU - 3 bytes, filled while there is more."""
    most = min(mtu or 23, 247) - 3
    with beside(tmp_path, mtu) as (board, central):
        central.write(r.command(0x81, 1))
        central.listen(0.2)
        exposure = board.pop(Pulse(0.01, 1e6, 30e-6, 700e-6))
        central.listen(0.4 if mtu > 100 else 0.8)
        while len(frames(central.heard)) < len(frames(central.usb)) - 3:
            central.listen(0.1)
    assert greeted(central)
    assert max(map(len, central.pieces)) == most
    mine, all_of_them = frames(central.heard), frames(central.usb)
    assert mine == [one for one in all_of_them if one in set(mine)]
    assert all_of_them[all_of_them.index(mine[0]) :][: len(mine)] == mine
    longest = max(mine, key=len)
    assert len([one for one in central.pieces if one in longest and len(one) == most]) >= len(longest) // most - 1
    samples = NativeDecoder().feed(central.heard, 0.0)
    (block,) = [one for one in samples if isinstance(one, WaveBlock)]
    assert any(isinstance(one, Identity) and one.name == "bench" for one in samples)
    assert block.truncated is False
    (fields,) = r.of(r.messages(central.heard), r.BLOCK)
    assert r.exposure(fields) == pytest.approx(exposure / FULL_SCALE_LX[0], rel=0.01)


def test_commands_come_in_pieces(tmp_path: Path) -> None:
    """A command cut into writes of three bytes is obeyed, and answered over the air."""
    with beside(tmp_path, 100) as (board, central):
        central.write(r.command(0x82, 7, b"\x01"), 3)
        central.listen(0.1)
        assert board.range == 1
    assert r.of(r.messages(central.heard), r.REPLY) == [{"command": 0x82, "its_sequence": 7, "code": 0}]


def test_many_commands_come_in_one_write_and_the_first_of_a_flood_are_kept(tmp_path: Path) -> None:
    """What a write of 244 bytes holds is obeyed to its end; of more than the inbox holds, what came first."""
    with beside(tmp_path, 247) as (board, central):
        central.write(b"".join(r.command(0x84, i, b"\x0a") for i in range(1, 6)), 244)
        central.listen(0.1)
        central.write(r.command(0x82, 9, b"\x01") + b"\x02" * 600, 244)
        central.listen(0.1)
        assert board.range == 1
    assert [one["its_sequence"] for one in r.of(r.messages(central.heard), r.REPLY)] == [1, 2, 3, 4, 5, 9]


def test_whoever_only_listens_is_spoken_to_after_two_seconds(tmp_path: Path) -> None:
    """The board cannot see that notifications were switched on: silence for two seconds, then it speaks."""
    with beside(tmp_path, 100) as (_board, central):
        central.listen(1.9)
        assert central.pieces == []
        central.listen(0.4)
    assert r.of(r.messages(central.heard), r.STEADY)


def test_no_room_in_the_radio_loses_and_doubles_nothing(tmp_path: Path) -> None:
    """A notification that the radio refuses is the next one: every frame comes whole, once."""
    with beside(tmp_path, 247) as (board, central):
        central.write(r.command(0x81, 1))
        board.pop(Pulse(0.05, 1e6, 30e-6, 700e-6))
        for i in range(90):
            board.happen(ROOM, (i % 2).to_bytes(2, "little"))
            central.listen(0.01)
        board.happen(ROOM, b"\xff\xff")
        central.listen(0.1)
    mine, all_of_them = frames(central.heard), frames(central.usb)
    assert all_of_them[all_of_them.index(mine[0]) :][: len(mine)] == mine
    assert len(r.of(r.messages(central.heard), r.BLOCK)) == 1


def test_who_leaves_in_the_middle_of_a_block_is_forgotten(tmp_path: Path) -> None:
    """The rest of the block goes to USB only; the next reader begins with 0x00 and a whole frame, in pieces of 20 bytes."""
    with beside(tmp_path, 64) as (board, central):
        central.write(r.command(0x81, 1))
        central.listen(0.1)
        board.pop(Pulse(0.01, 1e6, 30e-6, 700e-6))
        central.listen(0.1)
        assert not r.of(r.messages(central.heard), r.BLOCK)
        assert len(central.heard.split(b"\0")[-1]) > 100
        board.happen(DISCONNECT)
        assert board.happen(ADVERTISED)
        central.listen(0.2)
        central.connect()
        central.listen(0.2)
        assert central.pieces == []
        central.write(r.command(0x86, 2))
        central.listen(0.5)
        central.listen(0.3)
    assert greeted(central)
    assert max(map(len, central.pieces)) == 20
    assert len(r.of(r.messages(central.heard), r.STATUS)) == 1
    assert len(r.of(r.messages(central.usb), r.BLOCK)) == 1


def test_a_reader_out_of_reach_holds_nobody_up(tmp_path: Path) -> None:
    """After a second without room the frame is dropped: USB goes on, and who comes back is greeted with 0x00."""
    with beside(tmp_path, 100) as (board, central):
        central.write(r.command(0x81, 1))
        central.listen(0.2)
        board.happen(ROOM, b"\0\0")
        central.listen(1.3)
        before, central.usb, central.pieces = central.usb, b"", []
        central.listen(0.5)
        assert len(r.of(r.messages(before[before.index(b"\0") :] + b"\0"), r.STEADY)) >= 2
        assert len(r.of(r.messages(central.usb), r.STEADY)) >= 4
        board.happen(ROOM, b"\xff\xff")
        central.listen(0.3)
    assert greeted(central)
    assert r.of(r.messages(central.heard), r.STEADY)


def test_hostile_writes_are_counted_and_cost_no_capture(tmp_path: Path) -> None:
    """Noise, an endless frame and more than the inbox holds: it still answers, keeps a flash, and counts what it refused."""
    chance = random.Random(5)
    with beside(tmp_path, 247, 0.35) as (board, central):
        for _ in range(40):
            central.write(bytes(chance.choice((0, 1, 3, 13, 255, chance.randrange(256))) for _ in range(60)))
            central.listen(0.005)
        central.write(b"\x02" * 3000, 244)  # nobody reads meanwhile
        central.listen(0.05)
        central.write(b"\0" + r.command(0x86, 77))
        exposure = board.pop(Pulse(0.05, 1e6, 30e-6, 700e-6))
        central.listen(0.6)
    (status,), (block,) = (r.of(r.messages(central.heard), one) for one in (r.STATUS, r.BLOCK))
    assert status["refused"] > 10
    assert r.exposure(block) == pytest.approx(exposure / FULL_SCALE_LX[0], rel=0.01)
