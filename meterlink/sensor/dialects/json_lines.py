"""Lines of JSON objects, the values found by a path (``light.lux``, ``channels.0``)."""

from __future__ import annotations

import json
from typing import Any

from meterlink.records import Sample
from meterlink.sensor.dialects.lines import LineDecoder
from meterlink.sensor.dialects.quantities import Refused, put, samples

MAX_DEPTH = 16


def loads(text: str) -> Any:
    """Return what the JSON ``text`` says, strictly (no NaN, no Infinity, no nesting beyond ``MAX_DEPTH``).

    Raises Refused: it is not JSON (``text``), or too deep (``depth``).
    """
    # The parser recurses: a line of brackets must not reach the interpreter's own limit.
    if text.count("[") + text.count("{") > MAX_DEPTH and _depth(text) > MAX_DEPTH:
        raise Refused("depth")
    try:
        return json.loads(text, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise Refused("text") from None


def _no_constant(_name: str) -> float:
    raise ValueError


def _depth(text: str) -> int:
    """Return an upper bound of the nesting (brackets inside strings count too)."""
    depth = deepest = 0
    for sign in text:
        if sign in "[{":
            depth += 1
            deepest = max(deepest, depth)
        elif sign in "]}":
            depth -= 1
    return deepest


def follow(value: Any, path: str) -> Any:
    """Return what stands at ``path`` (keys and list indices joined by dots), or None when it is not there."""
    for step in path.split("."):
        if isinstance(value, dict):
            value = value.get(step)
        elif isinstance(value, list) and step.isdecimal() and len(step) <= 4 and int(step) < len(value):
            value = value[int(step)]
        else:
            return None
    return value


class JsonLineDecoder(LineDecoder):
    """Decoder of one JSON object a line.  A line without any of the dialect's paths is no reading, and no damage."""

    def line(self, text: str, at_s: float) -> list[Sample]:
        """Return the samples of one line."""
        whole = loads(text)
        if not isinstance(whole, dict | list):
            raise Refused("text")
        values: dict[str, float] = {}
        overload = False
        for field in self._dialect.fields:
            value = follow(whole, str(field.where))
            if value is None:
                continue
            if isinstance(value, bool) or not isinstance(value, int | float | str):
                raise Refused("value")
            overload |= put(values, field, value)
        return samples(values, at_s, overload)
