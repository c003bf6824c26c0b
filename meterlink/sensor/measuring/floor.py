"""What a converter that stands on one code hides, and how much of a pop that is.

An amplifier that cannot go below zero and a room of less than one code (7,800 lx on the bright range of an 8-bit block)
give code 0 before the pop, whatever the room is.  Code c means c + 1/2 only while noise or light carry the value across
several codes; at the floor it means "somewhere from 0 to 1".  Taken as 1/2, half a code would be subtracted too much
under the whole pulse, and its last tail, below one code, would be lost: 5 to 9 % of a pop that fills a tenth of the range.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from meterlink.records import Steady, WaveBlock

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MOSTLY = 0.5
"""So large a share of zeros before the trigger, and the level is at the floor."""
NEARLY_ALL = 0.9
"""Above the floor: so large a share on one code means that no noise carries the level across its steps."""
ROOM_CODES, U_ROOM_CODES = 0.1, 0.1
"""The room above dark, in codes: studio light with modelling lamps is 100 to 2,000 lx (common practice)."""
STEADY_STEPS = 1024
"""Steady light has 10 bits or more; more only makes the last half code smaller."""
LOW, HIGH = 2, 8
"""Codes between which the tail's time constant is read; with less than twice ``HIGH`` there is too little to read."""
U_TAIL_REL = 0.3


class Hidden(NamedTuple):
    """What to add to an exposure, in codes times seconds, and its standard uncertainty."""

    add: float = 0.0
    u: float = 0.0


def steps_of(block: WaveBlock) -> NDArray[np.float64]:
    """Return the interval of each sample of a block, in s."""
    import numpy as np

    counts = np.array([s.sample_count for s in block.segments], dtype=int)
    return np.repeat(np.array([s.sample_interval_s for s in block.segments], dtype=float), counts)


def hidden(
    block: WaveBlock, codes: NDArray[np.uint8] | NDArray[np.uint16], foot: int, dark_raw: float, room: Steady | None
) -> Hidden:
    """Return what the floor hides of this pop; nothing when noise carries the level before it across several codes.

    ``foot`` samples before the trigger are not looked at.  ``room`` is steady light just before, on the same range: its
    finer codes tell the level better than ``dark_raw`` and a guess.
    """
    from statistics import NormalDist  # like numpy: only where there is a waveform

    import numpy as np

    quiet = codes[: max(0, block.pretrigger - foot)]
    if not len(quiet):
        return Hidden()
    base = int(np.bincount(quiet).argmax())
    share = float((quiet == base).mean())
    level = _level(room, dark_raw, 1 << block.scale_bits)
    if share < (MOSTLY if base == 0 else NEARLY_ALL) or level is None or not base <= level <= base + 1:
        if base or share < MOSTLY:
            return Hidden()
        level = max(0.0, dark_raw * (1 << block.scale_bits)) + ROOM_CODES
    pulse, steps = codes[len(quiet) :], steps_of(block)[len(quiet) :]
    too_much = float(quiet.mean()) + 0.5 - level
    # Noise lifts some samples to the next code without any light.
    stray = (1.0 - share) * float(steps[pulse == base].sum())
    lit_s = max(0.0, float(steps[pulse > base].sum()) - stray)
    add, u = too_much * lit_s, U_ROOM_CODES * lit_s
    if int(pulse.max()) - base < 2 * HIGH:
        return Hidden(add, math.hypot(u, lit_s / math.sqrt(12.0)))
    decay_s = float(steps[(pulse >= base + LOW) & (pulse < base + HIGH)].sum()) / math.log(HIGH / LOW)
    to_next = max(0.0, base + 1.0 - level)
    # Noise carries a part of the tail over the step to the next code.
    noise = to_next / NormalDist().inv_cdf(share) if MOSTLY < share < 1.0 else 0.0
    tail = decay_s * to_next * max(0.0, 1.0 - noise)
    return Hidden(add + tail, math.hypot(u, U_TAIL_REL * tail))


def _level(room: Steady | None, dark_raw: float, steps: int) -> float | None:
    """Return the level before the pop in codes, None when steady light does not tell it either."""
    lowest = 1.0 / STEADY_STEPS
    if room is None or room.raw is None or room.raw_min is None or (room.raw_max or 0.0) < lowest:
        return None
    # The lowest code of the steady light is at the floor as well, and its half is as doubtful.
    half = lowest / 2.0 if room.raw_min < lowest else 0.0
    return max(dark_raw * steps, (room.raw - half) * steps)
