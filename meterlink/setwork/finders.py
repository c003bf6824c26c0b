"""Every module that adds finders to the checks: importing this one is enough to have them all."""

from __future__ import annotations

from meterlink.setwork import colour_check, evenness_check, freezing, room_light, shutter_check

__all__ = ["colour_check", "evenness_check", "freezing", "room_light", "shutter_check"]
