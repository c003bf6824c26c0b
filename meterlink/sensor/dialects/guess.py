"""Which dialect is this?  A pure function from bytes that were heard to a proposal with its evidence.

Every dialect's own decoder is the judge: it is fed what was heard, and what it believes and refuses is the evidence.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from operator import itemgetter
from typing import NamedTuple

from meterlink.errors import DialectError
from meterlink.records import Identity, PopFigures, Steady
from meterlink.sensor.dialects.dialect import OURS, Dialect, SerialSettings
from meterlink.sensor.dialects.dialect_file import make_decoder, serial_url
from meterlink.sensor.dialects.draft import draft_dialect
from meterlink.sensor.dialects.quantities import UNITS
from meterlink.words.told import NOTHING, Told, all_of, told

MIN_LIGHTS = 2
"""One line can be chance; two of the same kind are a habit."""
MIN_BELIEVED = 0.8
MAX_HEARD = 256 * 1024
CHIPS = {
    "veml": ("VEML", "120 klx"),
    "bh1750": ("BH1750", "121 klx"),
    "opt3001": ("OPT3001", "83 klx"),
}
"""What our sketches print behind the light -> family of light chips, and where its widest range ends (data sheets, from memory)."""
_CHIP = re.compile(r" # (" + "|".join(CHIPS) + r")$")


class Capture(NamedTuple):
    """What was heard at one setting of the port."""

    serial: SerialSettings
    data: bytes
    seconds: float
    asked: str = ""
    """Name of the dialect in which it was asked; ``""`` when it was only listened to."""


class Proposal(NamedTuple):
    """What the sensor most likely speaks."""

    dialect: str
    """Name of the dialect; ``""`` when none fits."""
    url: str
    """What to give as the sensor; ``""`` when none fits."""
    evidence: Told
    """Why, in one line: "9600 baud, lines such as `512.3 lx`, 10 a second"."""
    can: Told = NOTHING
    """What a sensor of this kind can and cannot do."""
    flash: bool = False
    rate_hz: float = 0.0
    lights: int = 0
    """Readings among what was heard."""
    believed: float = 0.0
    """Share of the frames or lines that made sense."""
    others: tuple[str, ...] = ()
    """Dialects that fit as well, with other meanings of the numbers."""
    draft: str = ""
    """TOML of a dialect to begin with, when none fits but the lines make some sense."""


def guess(captures: Sequence[Capture], dialects: Sequence[Dialect], target: str = "PORT") -> Proposal:
    """Return the proposal for what was heard on ``target``.

    A proposal without a dialect says what was heard instead, and what to do.
    """
    judged = (_judge(capture, dialect, target) for capture in captures for dialect in (OURS, *dialects))
    candidates = sorted(filter(None, judged), key=itemgetter(0), reverse=True)
    if not candidates:
        return _nothing_fits(captures)
    best_rank, best = candidates[0]
    # Only what is as certain and differs in its assumptions is worth a word.
    others = dict.fromkeys(
        other.dialect for rank, other in candidates[1:] if rank[:2] == best_rank[:2] and other.dialect != best.dialect
    )
    return best._replace(others=tuple(others))


def convincing(proposal: Proposal) -> bool:
    """True when there is no need to try other settings of the port."""
    return bool(proposal.dialect) and (proposal.flash or (proposal.lights > MIN_LIGHTS and proposal.believed > 0.95))


def _judge(capture: Capture, dialect: Dialect, target: str) -> tuple[tuple[float, ...], Proposal] | None:
    """Return a proposal behind its rank; None when the dialect does not fit."""
    # Who only answers was asked in its own dialect; who was asked in another speaks by itself or not at all.
    if capture.asked != dialect.name and (dialect.poll_s or capture.asked):
        return None
    try:
        decoder = make_decoder(dialect)
    except DialectError:
        return None
    samples = decoder.feed(capture.data[:MAX_HEARD], 0.0)
    stats = decoder.stats
    identity = next((sample for sample in samples if isinstance(sample, Identity)), None)
    if dialect.pops and b"\npop" not in capture.data.replace(b"\r", b"\n"):
        return None
    lights = sum(isinstance(sample, Steady | PopFigures) for sample in samples)
    judged = stats.frames + stats.damaged_total
    believed = stats.frames / judged if judged else 0.0
    if dialect is OURS:
        if identity is None:
            return None
    elif lights < MIN_LIGHTS or believed < MIN_BELIEVED:
        return None
    evidence, certainty = _evidence(capture, dialect, identity, samples, stats.frames)
    serial = capture.serial
    flash = bool(identity and identity.flash)
    proposal = Proposal(
        dialect.name, serial_url(target, dialect.name, serial), evidence,
        told("tells_figures") if dialect.pops else told("tells_flash") if flash else _steady_only(capture.data), flash,
        lights / capture.seconds if capture.seconds > 0 else 0.0, lights, believed,
    )  # fmt: skip
    return (certainty, round(believed, 2), float(dialect.serial == serial), lights, -_assumed(dialect)), proposal


def _steady_only(data: bytes) -> Told:
    """What a board without flash can do, and which family of light chips our sketch on it reads."""
    lines = _lines(data)
    match = _CHIP.search(lines[-1]) if lines else None
    if match is None:
        return told("tells_steady")
    family, most = CHIPS[match[1]]
    return all_of(told("light_chip", family=family, most=most), told("tells_steady"))


def _assumed(dialect: Dialect) -> int:
    """Return how much a dialect assumes about a bare number: lux least, other units more, scales most."""
    field = dialect.field("illuminance")
    if field is None:
        return 0
    return (UNITS["illuminance"][field.unit.lower()] != 1.0 or field.unit.lower() == "ev") + 2 * (field.scale != 1.0)


def _evidence(
    capture: Capture, dialect: Dialect, identity: Identity | None, samples: Sequence[object], frames: int
) -> tuple[Told, float]:
    """Return the evidence and how much it says: 5 a checksum, 4 a structure with names, 3 a unit, 1 bare."""
    where = _port(capture.serial)
    if dialect is OURS:
        who = f"{identity.name} ({identity.sensor_id})" if identity else told("the_sensor")
        return told("heard_frames", where=where, who=who), 5.0
    if dialect.kind == "modbus":
        first = next(sample for sample in samples if isinstance(sample, Steady))
        value = told("an_overload") if first.illuminance_lx is None else told("plain_lx", lx=first.illuminance_lx)
        return told("heard_answers", where=where, dialect=dialect.name, value=value), 5.0
    rate = told("a_second", rate=frames / capture.seconds) if capture.seconds > 0 else told("of_them", count=frames)
    words = told("heard_lines", where=where, line=example_line(capture.data), rate=rate)
    if dialect.kind in ("json", "senml") or dialect.header:
        return words, 4.0
    if dialect.kind == "text" and _states_unit(capture.data, dialect):
        return words, 3.0
    field = dialect.field("illuminance")
    unit = field.unit if field else "lx"
    return all_of(words, told("unit_assumed", unit=unit)), 1.0


def _states_unit(data: bytes, dialect: Dialect) -> bool:
    """True when most lines state a unit of light that the dialect turns into light as it stands."""
    lines = [line.lower().partition(f" {dialect.comment}")[0] for line in _lines(data) if not line.startswith("pop")]
    units = sorted((unit for unit in UNITS["illuminance"] if unit), key=len, reverse=True)
    stated = sum(any(line.rstrip().endswith(unit) or f"{unit};" in line for unit in units) for line in lines)
    return stated > len(lines) / 2 and bool(dialect.field("illuminance"))


def _lines(data: bytes) -> list[str]:
    """Return the whole printable lines (without the first, which may have lost its head)."""
    pieces = data[:MAX_HEARD].replace(b"\r", b"\n").split(b"\n")[1:-1]
    texts = (piece.decode("utf-8", "replace").strip() for piece in pieces if piece.strip())
    return [text for text in texts if text.isprintable() and "�" not in text]


def example_line(data: bytes, most: int = 48) -> str:
    """Return a line that was heard, fit to be shown."""
    lines = _lines(data)
    if not lines:
        return ""
    # The last one: a header comes first.
    line = lines[-1].replace("`", "'")
    return line if len(line) <= most else line[: most - 1] + "…"


def _port(serial: SerialSettings) -> Told:
    bits = NOTHING if serial.data_bits == 8 else told("data_bits", bits=serial.data_bits)
    parity = NOTHING if serial.parity == "none" else told("parity", parity=serial.parity)
    return all_of(told("baud", baud=serial.baud), bits, parity, by=", ")


def _nothing_fits(captures: Sequence[Capture]) -> Proposal:
    heard = [capture for capture in captures if capture.data]
    if not heard:
        return Proposal("", "", told("nothing_heard"))
    readable = [capture for capture in heard if len(_lines(capture.data)) >= MIN_LIGHTS]
    if not readable:
        most = max(heard, key=lambda capture: len(capture.data))
        return Proposal("", "", told("no_lines_heard", count=len(most.data), where=_port(most.serial)))
    remarks = [line for capture in readable for line in _lines(capture.data)]
    if all(line.startswith("#") for line in remarks):
        return Proposal("", "", told("board_says", remark=remarks[-1].lstrip("# ")))
    best = max(readable, key=lambda capture: sum(map(len, _lines(capture.data))) / len(capture.data))
    draft = draft_dialect(_lines(best.data), best.serial)
    line = example_line(best.data)
    advice = told("save_draft" if draft else "describe_lines")
    return Proposal("", "", told("unknown_lines", where=_port(best.serial), line=line, advice=advice), draft=draft)
