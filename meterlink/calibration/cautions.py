"""Cautions that are shown where they belong; local codes and licensed practice come first."""

from __future__ import annotations

from meterlink.words.language import marked

FLASH = marked(
    "Flashing light can harm photosensitive people: say so before you start. Do not look into a bare tube, keep "
    "a metre away, and never open a flash: its capacitors hold a deadly charge long after it is unplugged."
)
BARE_BULB = marked(
    "A bare tube or modelling lamp is hot and breaks: let it cool before touching it, wear glasses, keep cloth and hands away."
)
HOT_LAMP = marked(
    "A bright lamp is hot: let it stand free, nothing that burns within its maker's distance (half a metre if none is given), dome "
    "and reference under it no longer than a reading takes; a table-tennis ball or other celluloid never: it flares up."
)
