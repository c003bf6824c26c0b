"""Every phrase by its code: the English text with places for values, as the catalogues have it (``words/told.py`` fills it)."""

from __future__ import annotations

from meterlink.words.phrases import calibration, checks, faults, judging, library, measuring, metering, steps, tables

PHRASES: dict[str, str] = {
    **judging.PHRASES, **tables.PHRASES, **checks.PHRASES, **metering.PHRASES, **measuring.PHRASES,
    **calibration.PHRASES, **steps.PHRASES, **faults.PHRASES, **library.PHRASES,
}
