"""Lines of pops: what is believed, what is refused, and the whole way from a port to the table."""

from __future__ import annotations

import itertools
import json
import os
import pty
import threading
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from meterlink.cli.main import main
from meterlink.records import Identity, PopFigures, Steady
from meterlink.sensor.dialects.base import Decoder
from meterlink.sensor.dialects.dialect import SerialSettings
from meterlink.sensor.dialects.dialect_file import make_decoder, shipped_dialects
from meterlink.sensor.dialects.guess import Capture, guess


@pytest.fixture
def decoder() -> Decoder:
    """A decoder of the shipped dialect that has seen one line end."""
    made = make_decoder("pop-lines")
    made.feed(b"\n", 0.0)
    return made


@pytest.mark.parametrize(
    ("line", "pop"),
    [
        ("pop 211 lxs t01 0.0012 peak 160000", PopFigures(5.0, 211.0, 0.05, 160000.0, None, 0.0012)),
        ("pop 211 lxs", PopFigures(5.0, 211.0, 0.05)),
        ("pop  2.11e2\tlxs peak 1.6e5 t05 0.0005 t01 0.0012 u 0.02", PopFigures(5.0, 211.0, 0.02, 160000.0, 0.0005, 0.0012)),
        ("pop 211 lxs clipped peak 160000", PopFigures(5.0, 211.0, 0.05, 160000.0, clipped=True)),
        ("pop 211 lxs # the third", PopFigures(5.0, 211.0, 0.05)),
    ],
)
def test_a_pop_is_read(decoder: Decoder, line: str, pop: PopFigures) -> None:
    """Exposure first, then what is known in any order; the sensor is introduced as one that sees flashes."""
    identity, found = decoder.feed(line.encode() + b"\r\n", 5.0)

    assert found == pop
    assert isinstance(identity, Identity)
    assert identity.flash
    assert identity.adc_bits == 0


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("pop", "text"),
        ("pop 211", "text"),
        ("pop 211 lx", "text"),
        ("pop lxs 211", "text"),
        ("pop 211 lxs t01", "text"),
        ("pop 211 lxs t0 0.001", "text"),
        ("pop 211 lxs t01 0.001 t01 0.001", "twice"),
        ("pop 211 lxs lxs 5", "text"),
        ("pop 211 lxs clipped clipped", "text"),
        ("pop nan lxs", "number"),
        ("pop inf lxs", "number"),
        ("pop -211 lxs", "number"),
        ("pop 2_11 lxs", "number"),
        ("pop 211,5 lxs", "number"),
        ("pop ٣ lxs", "number"),
        ("pop 0x20 lxs", "number"),
        ("pop 0 lxs", "value"),
        ("pop 1e99 lxs", "value"),
        ("pop 9999999 lxs", "value"),
        ("pop 211 lxs t01 60", "value"),
        ("pop 211 lxs t05 0.002 t01 0.001", "figures"),
        ("pop 2110 lxs t01 0.0012 peak 160000", "figures"),
        ("pop 2.1 lxs t01 0.0012 peak 160000", "figures"),
        ("POP 211 lxs", "text"),
        ("pops 3", "text"),
        ("popp 211 lxs", "text"),
    ],
)
def test_a_line_that_cannot_be_believed_is_no_pop(decoder: Decoder, line: str, reason: str) -> None:
    """Cut short, unknown words, figures that cannot be or contradict each other: counted by the reason, and nothing comes."""
    assert decoder.feed(line.encode() + b"\n", 5.0) == []
    assert decoder.stats.damaged == {reason: 1}


def test_every_cut_of_a_pop_is_the_pop_or_nothing() -> None:
    """A stream cut anywhere gives the same pop; a line that lost its end or its head gives none with another exposure."""
    line = b"pop 211 lxs t01 0.0012 peak 160000"
    for i in range(len(line) + 1):
        whole = make_decoder("pop-lines")
        found = [*whole.feed(b"\n" + line[:i], 1.0), *whole.feed(line[i:] + b"\n", 1.0)]
        assert [s.exposure_lxs for s in found if isinstance(s, PopFigures)] == [211.0]
        for part in (line[:i], line[i:]):
            found = make_decoder("pop-lines").feed(b"\n" + part + b"\n", 1.0)
            assert {s.exposure_lxs for s in found if isinstance(s, PopFigures)} <= {211.0}


def test_a_board_that_sees_no_flash_for_a_while_is_there_all_the_same(decoder: Decoder) -> None:
    """``pops`` alone introduces it, once; light comes between pops."""
    (identity,) = decoder.feed(b"pops\n", 1.0)
    assert isinstance(identity, Identity)
    (steady,) = decoder.feed(b"pops\n60 lx\n", 1.0)
    assert isinstance(steady, Steady)
    assert steady.illuminance_lx == 60.0


def heard(text: str) -> Capture:
    """What a board said in two seconds."""
    return Capture(SerialSettings(baud=115_200), b"x\n" + text.encode() + b"\n", 2.0)


@pytest.mark.parametrize(
    ("text", "dialect", "can"),
    [
        ("pops\n60.0 lx\n" * 4, "pop-lines", "meters flash"),
        ("60.0 lx\npop 211 lxs t01 0.0012\n" * 3, "pop-lines", "meters flash"),
        ("60.0 lx\n" * 8, "lux-lines", "sees steady light only"),
        ("512.4 lx # veml\n" * 8, "lux-lines", "a light chip of the VEML family, up to 120 klx; sees steady light only"),
        ("512.4 lx # bh1750\n" * 8, "lux-lines", "a light chip of the BH1750 family"),
        ("512.4 lx # opt3001\n" * 8, "lux-lines", "a light chip of the OPT3001 family"),
    ],
)
def test_an_unknown_port_is_told_by_what_it_says(text: str, dialect: str, can: str) -> None:
    """``sensors --try``: a board that tells of pops, one that does not, and the light chips of our sketches by family."""
    proposal = guess([heard(text)], shipped_dialects())

    assert proposal.dialect == dialect
    assert str(proposal.can).startswith(can)
    assert proposal.flash == (dialect == "pop-lines")


def test_a_board_that_misses_its_chip_says_so_through_us() -> None:
    """Only remarks come: they are repeated, since they say what to do."""
    proposal = guess([heard("# no light chip answers: check the four wires\n" * 3)], shipped_dialects())

    assert str(proposal.evidence) == "the board sends no readings, but says: no light chip answers: check the four wires"


@pytest.fixture
def board() -> Iterator[tuple[str, threading.Event]]:
    """A port on which a board, once begun, says its light four times a second and sees a flash now and then, the first clipped."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    over, begun = threading.Event(), threading.Event()

    def run() -> None:
        begun.wait(30)
        os.set_blocking(master, False)
        pops = itertools.cycle(("pop 190 lxs clipped", "pop 211 lxs t01 0.0012 peak 160000", "pop 105.5 lxs t01 0.0012"))
        for i in itertools.count():
            if over.wait(0.25):
                return
            said = "pops\n60 lx\n" if i % 8 < 7 else f"{next(pops)}\n"
            try:
                os.write(master, b"\n" * (i == 0) + said.encode())
            except BlockingIOError:
                pass

    thread = threading.Thread(target=run)
    thread.start()
    yield os.ttyname(slave), begun
    over.set()
    begun.set()
    thread.join(5)
    os.close(master)
    os.close(slave)


def test_a_board_of_lines_meters_a_set(
    board: tuple[str, threading.Event], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """From a port to the table: the clipped pop is asked for again, the next two are a stop apart (2·log2 of N = √(H·S/C))."""
    library = ["--library", str(tmp_path / "l.sqlite")]
    assert main([*library, "setup", "new", "lines"]) == 0
    for name, role in (("KEY", "key"), ("FILL", "fill")):
        assert main([*library, "light", "add", name, "--role", role, "--disk", "60cm", "--distance", "1m"]) == 0
    port, begun = board
    begun.set()
    assert main([*library, "meter", "KEY@0", "FILL@0", "--sensor", f"serial:{port}?dialect=pop-lines"]) == 0
    said = capsys.readouterr().out
    assert main([*library, "ratios", "--json"]) == 0
    rows = {row["light"]: row for row in json.loads(capsys.readouterr().out)}

    assert "clips: lower the power" in said
    assert rows["KEY"]["as_read_f"] == pytest.approx((211 * 100 / 330) ** 0.5, rel=1e-3)
    assert rows["FILL"]["from_key_stops"] == pytest.approx(-1.0, abs=0.01)
