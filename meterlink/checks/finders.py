"""Every module that adds finders to the checks: importing this one is enough to have them all."""

from __future__ import annotations

from meterlink.checks import colour as colour_check
from meterlink.checks import evenness as evenness_check
from meterlink.checks import freezing, room_light
from meterlink.checks import shutter as shutter_check

__all__ = ["colour_check", "evenness_check", "freezing", "room_light", "shutter_check"]
