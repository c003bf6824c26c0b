"""Quantities that a sensor of somebody else's making may report, their units, and the samples they become.

A dialect says where a number stands and in which unit; everything from the number on is the same for all dialects and
lives here.  Exact factors: 1 ft = 0.3048 m (SI), so one foot-candle, a lumen per square foot, is 1/0.3048² lx.
"""

from __future__ import annotations

from typing import NamedTuple

from meterlink.records import Battery, Colour, HeldOff, Sample, Steady

LUX_PER_FOOTCANDLE = 1 / 0.3048**2
MAX_ILLUMINANCE_LX = 1e7
"""More than any steady light (full sun is 1.3e5 lx): beyond it a number is damage, not light."""
MAX_EV = 40.0

_FOOTCANDLES = ("fc", "ftc", "ft-c", "footcandle", "footcandles", "foot-candle", "foot-candles", "lm/ft2")
UNITS: dict[str, dict[str, float]] = {
    "illuminance": {
        "lx": 1.0, "lux": 1.0, "klx": 1e3, "klux": 1e3, "kilolux": 1e3, "mlx": 1e-3,
        **dict.fromkeys(_FOOTCANDLES, LUX_PER_FOOTCANDLE), "lm/m2": 1.0, "ev": 1.0,
    },
    "cct": {"k": 1.0, "kelvin": 1.0, "mired": 1.0},
    "x": {"": 1.0},
    "y": {"": 1.0},
    "duv": {"": 1.0},
    "battery": {"%": 0.01, "%el": 0.01, "": 1.0},
    "battery_voltage": {"v": 1.0, "mv": 1e-3},
    "held_off": {"m": 1.0, "cm": 1e-2, "mm": 1e-3},
}  # fmt: skip
"""Quantity -> unit in lower case -> factor to the SI unit (``ev`` and ``mired`` are not factors)."""
LIMITS = {
    "illuminance": (0.0, MAX_ILLUMINANCE_LX),
    "cct": (800.0, 1e5),
    "x": (0.0, 1.0),
    "y": (0.0, 1.0),
    "duv": (-0.5, 0.5),
    "battery": (0.0, 1.0),
    "battery_voltage": (0.0, 100.0),
    "held_off": (0.0, 50.0),
}
"""What a value in SI units may be; outside, the line is damaged."""


class Field(NamedTuple):
    """One quantity of a dialect: where its number stands and what it means."""

    quantity: str
    where: str | int = ""
    """By kind: a label, a column (number from 1, or name), a path, a SenML name, a register."""
    unit: str = ""
    scale: float = 1.0
    offset: float = 0.0
    """value in ``unit`` = number * scale + offset."""
    not_known: tuple[float | str, ...] = ()
    overload: tuple[float | str, ...] = ()
    """Numbers or words by which the sensor says that there is too much light."""
    iso: float | None = None
    constant_lx: float | None = None
    """For EV only: E = C * 2**EV / S.  There is no default: C belongs to the receptor (ISO 2720)."""
    register_type: str = ""
    table: str = ""
    byte_order: str = "big"
    word_order: str = "big"


class Refused(Exception):
    """A value that cannot be; ``reason`` is the word under which it is counted.  Never leaves ``wire``."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


def known_unit(unit: str) -> str:
    """Return the quantity that ``unit`` alone tells of, or ``""``."""
    return next((quantity for quantity, units in UNITS.items() if unit and unit.lower() in units), "")


def to_si(field: Field, number: float, unit: str = "") -> float:
    """Return ``number`` as lx, K, fraction, V or m; ``unit`` is what stood beside it, else the field's own is used.

    Raises Refused: the unit is unknown or not one of the quantity (``unit``), or the value cannot be (``value``).
    """
    if not -1e300 < number < 1e300:
        raise Refused("value")
    unit = (unit or field.unit).lower()
    factor = UNITS[field.quantity].get(unit)
    if factor is None:
        raise Refused("unit")
    value = number * field.scale + field.offset
    if unit == "ev":
        if field.iso is None or field.constant_lx is None or abs(value) > MAX_EV:
            raise Refused("unit" if field.iso is None or field.constant_lx is None else "value")
        value = field.constant_lx * 2.0**value / field.iso
    elif unit == "mired":
        if value <= 0:
            raise Refused("value")
        value = 1e6 / value
    else:
        value *= factor
    low, high = LIMITS[field.quantity]
    if not low <= value <= high:
        raise Refused("value")
    return value


def put(values: dict[str, float], field: Field, token: float | str, unit: str = "") -> bool:
    """Put what a number says into ``values``, unless it (or a word) says that it is not known; True: too much light.

    Raises Refused like ``to_si``, with ``number`` for another word and ``twice`` for a quantity that is there already.
    """
    if token in field.overload:
        return True
    if token in field.not_known:
        return False
    if isinstance(token, str):
        raise Refused("number")
    if field.quantity in values:
        raise Refused("twice")
    values[field.quantity] = to_si(field, token, unit)
    return False


def samples(values: dict[str, float], at_s: float, overload: bool = False) -> list[Sample]:
    """Return the samples that one line (or one answer) with these SI values makes."""
    out: list[Sample] = []
    illuminance_lx = values.get("illuminance")
    if illuminance_lx is not None or overload:
        out.append(Steady(at_s, None, clipped=overload, illuminance_lx=illuminance_lx))
    x, y, cct, duv = (values.get(name) for name in ("x", "y", "cct", "duv"))
    if (x is not None and y is not None) or cct is not None:
        if x is None or y is None:
            x = y = None
        out.append(Colour(at_s, x=x, y=y, cct_k=cct, duv=duv))
    if "held_off" in values:
        out.append(HeldOff(at_s, values["held_off"]))
    if "battery" in values or "battery_voltage" in values:
        out.append(Battery(at_s, values.get("battery"), values.get("battery_voltage")))
    return out
