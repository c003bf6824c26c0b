"""A first description of an unknown dialect of lines, for a person to check: never used by itself."""

from __future__ import annotations

import json
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from meterlink.errors import DialectError
from meterlink.sensor.dialects.dialect import SerialSettings, parse_dialect
from meterlink.sensor.dialects.json_lines import loads
from meterlink.sensor.dialects.quantities import Refused

_LIGHT_WORDS = ("lux", "illuminance", "illum", "lx", "light", "brightness")
_MAX_LINES = 200


def draft_dialect(lines: Sequence[str], serial: SerialSettings) -> str:
    """Return the TOML of a dialect that reads these lines, ``""`` when nothing can be made of them."""
    lines = lines[:_MAX_LINES]
    found = _json(lines) or _named_columns(lines) or _numbered_columns(lines)
    if found is None:
        return ""
    kind, head, where = found
    draft = (
        f'# A draft from what was heard: check the column or path and the unit before you trust it.\nformat = 1\n'
        f'name = "my-sensor"\nkind = "{kind}"\n{head}\n[serial]\nbaud = {serial.baud}\ndata_bits = {serial.data_bits}\n'
        f'parity = "{serial.parity}"\nstop_bits = {serial.stop_bits}\n\n[illuminance]\n{where}unit = "lx"\n'
    )
    try:
        parse_dialect(draft)
    except DialectError:
        return ""
    return draft


def _json(lines: Sequence[str]) -> tuple[str, str, str] | None:
    for line in lines:
        try:
            whole = loads(line)
        except Refused:
            continue
        path = _of_light({path: path.rpartition(".")[2] for path, value in _numbers(whole, "") if value >= 0})
        if path is not None:
            return "json", "", f"path = {json.dumps(path)}\n"
    return None


def _of_light(names: dict[str, str]) -> str | None:
    """Return the key of the name that sounds most like light."""
    return next((key for word in _LIGHT_WORDS for key, name in names.items() if word in name.lower()), None)


def _numbers(value: Any, path: str) -> list[tuple[str, float]]:
    if isinstance(value, dict):
        steps = [(str(key), inner) for key, inner in list(value.items())[:32] if "." not in str(key)]
    elif isinstance(value, list):
        steps = [(str(number), inner) for number, inner in enumerate(value[:32])]
    elif isinstance(value, int | float) and not isinstance(value, bool) and path:
        return [(path, value)]
    else:
        return []
    return [found for key, inner in steps for found in _numbers(inner, f"{path}.{key}" if path else key)]


def _delimiter(lines: Sequence[str]) -> str:
    for sign in (";", "\t", ",", "|"):
        counts = {line.count(sign) for line in lines}
        if len(counts) == 1 and counts != {0}:
            return sign
    return ""


def _named_columns(lines: Sequence[str]) -> tuple[str, str, str] | None:
    sign = _delimiter(lines)
    for line in lines if sign else ():
        names = [name.strip() for name in line.split(sign)]
        name = _of_light(dict(zip(names, names, strict=True))) if all(_number(one) is None for one in names) else None
        if name is not None:
            return "csv", f"delimiter = {json.dumps(sign)}\nheader = true\n", f"column = {json.dumps(name)}\n"
    return None


def _numbered_columns(lines: Sequence[str]) -> tuple[str, str, str] | None:
    """Take the first column of numbers that are never negative, change, and do not just count."""
    sign = _delimiter(lines)
    rows = [[_number(cell.strip()) for cell in line.split(sign)] for line in lines] if sign else []
    if len(rows) < 3:
        return None
    for place, column in enumerate(zip(*rows, strict=True), 1):
        numbers = [number for number in column if number is not None]
        if len(numbers) < len(rows) or min(numbers) < 0 or len(set(numbers)) == 1:
            continue
        steps = {round(after - before, 9) for before, after in pairwise(numbers)}
        if min(steps) > 0 and len(steps) <= 2:
            continue
        return "csv", f"delimiter = {json.dumps(sign)}\n", f"column = {place}\n"
    return None


def _number(cell: str) -> float | None:
    try:
        return float(cell) if cell.isascii() and "_" not in cell else None
    except ValueError:
        return None
