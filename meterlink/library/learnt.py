"""Learnt facts that the product itself reads back: what a note of each kind must hold."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from meterlink.library.rows import json_value
from meterlink.photometry.falloff import FalloffFit

FALLOFF, FAVOURITE = "falloff", "favourite"


def _favourite(payload: dict[str, Any]) -> None:
    if not isinstance(payload.get("on"), bool):
        raise ValueError("on is not true or false")


_CHECKS: Mapping[str, Callable[[dict[str, Any]], object]] = {FALLOFF: FalloffFit.from_record, FAVOURITE: _favourite}


def note_trouble(kind: str, payload: dict[str, Any]) -> str:
    """Return what is wrong with a note's payload, '' when nothing is or nobody here reads notes of that kind."""
    check = _CHECKS.get(kind)
    if check is None:
        return ""
    try:
        check(payload)
    except (ValueError, OverflowError) as error:
        return " ".join(str(error).split())[:120]
    return ""


def is_good_note(kind: Any, payload: Any) -> bool:
    """Say the same of a stored row, for SQL."""
    try:
        value = json_value(payload)
        return isinstance(value, dict) and not note_trouble(kind, value)
    except Exception:
        return False
