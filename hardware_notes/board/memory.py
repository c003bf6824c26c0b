"""The ring of conversions.  ``main`` imports this before all else: an empty heap has room for it in one piece."""

from array import array

from micropython import const

RING = const(16384)
"""Conversions: 33 ms at 500,000 a second, which is how long the loop may be held up."""

ring = array("H", bytes(2 * RING))
