"""Cautions that are shown where they belong; local codes and licensed practice come first."""

from __future__ import annotations

from meterlink.words.told import told

FLASH = told("caution_flash")
BARE_BULB = told("caution_bare_bulb")
HOT_LAMP = told("caution_hot_lamp")
