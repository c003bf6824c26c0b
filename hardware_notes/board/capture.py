"""One conversion after another -> steady sums, a detected pop, its samples.

``Capture.take`` goes over what the converter has put into its ring since the last call.  All numbers of the state stand
in one array of machine words, so that the loops are machine code and nothing is allocated.

    OFF       steady sums only
    SETTLE    after start, a range switch or a new interval: nothing is believed, the baseline follows at once
    WATCH     a rise above baseline + threshold in two conversions running triggers
    CAPTURE   samples after the trigger, until both segments are full
    HELD      the samples belong to the device, which sends them; a pop now is counted as lost

A capture has ``PRETRIGGER`` samples from before the trigger and then two segments: fine ones, and ``COARSE_TIMES`` as
long ones for the tail of a slow head.  A longer sample is the mean of its conversions, in 16 bits, so that the mean's
finer steps are kept.  Light of a capture is not in the steady sums: a pop does not lift the room light around it.

Behaviour of pops, loss and steady light as in the C core (hardware_notes/firmware/core/capture.h).
"""

from array import array

import micropython
from micropython import const

PRETRIGGER = const(128)
FINE = const(1024)
"""Fine samples after the trigger: 2 ms at 500,000 conversions a second."""
WINDOW_US = const(20000)
"""What a capture reaches after the trigger, at factor 1."""
COARSE_TIMES = const(8)
COARSE_LEAST = const(64)
SETTLE_US = const(3300)
LOST_US = const(13000)
"""Lost pops within this time count as one."""
STEP_US = const(104)
"""The baseline takes about one step in this time and follows in eight: slower than a flash rises, faster than a room."""
TAIL = const(16)
BITS = const(12)
FULL = const(4095)
CLIP = const(4090)
"""Codes from here on count as full scale: a converter with errors of its own may never say 4095."""
WINDOW_MOST = const(65535)

OFF, SETTLE, WATCH, HOLDING, HELD = range(5)
_OFF = const(0)
_SETTLE = const(1)
_WATCH = const(2)
_CAPTURE = const(3)
_HELD = const(4)

# Places in the array of the state.
_STATE = const(0)
_RING = const(1)  # conversions that the ring holds
_LEFT = const(2)  # conversions to go in SETTLE; samples to go in a segment
_CALM = const(3)  # highest code that is no rise
_BASE = const(4)  # baseline, in 1/8 codes
_STEP_SHIFT = const(5)
_STEP_SUM = const(6)
_STEP_LEFT = const(7)
_HOLD = const(8)  # steps before another lost pop is counted
_LOST = const(9)
_OVER = const(10)  # the last conversion was above calm
_SUM = const(11)  # steady window
_COUNT = const(12)
_MIN = const(13)
_MAX = const(14)
_SHIFT = const(15)  # a sample under way is the mean of 1 << shift conversions
_SAMPLE_SUM = const(16)
_SAMPLE_LEFT = const(17)
_SAMPLE_CLIP = const(18)
_OUT = const(19)  # samples written
_PEAK = const(20)
_BEFORE = const(21)
_FACTOR = const(22)  # shift of the interval commanded
_THRESHOLD = const(23)
_COARSE = const(24)  # samples of the second segment
_STEPS_LOST = const(25)  # LOST_US in steps
_CLIPPED = const(26)
_SEGMENT = const(27)
_HELD_SHIFT = const(28)
_WORDS = const(29)


@micropython.viper
def _set_calm(s: ptr32):  # noqa: F821
    highest = (s[_BASE] >> 3) + s[_THRESHOLD] - 1
    s[_CALM] = highest if highest < FULL else FULL


@micropython.viper
def _mean(ring: ptr16, at: int, size: int, shift: int) -> int:  # noqa: F821
    # (mean of 1 << shift truncated codes + half a code) in 1/65536 of full scale, less the half that a reader adds
    total = 0
    clipped = 0
    for _ in range(1 << shift):
        code = ring[at]
        if code >= CLIP:
            clipped = 1
        total += code
        at += 1
        if at == size:
            at = 0
    if clipped:
        return 65535
    return (((total << 1) + (1 << shift)) << 3) >> shift


@micropython.viper
def _trigger(ring: ptr16, at: int, s: ptr32, out: ptr16):  # noqa: F821
    # ``at`` is the conversion that triggered
    shift = s[_FACTOR]
    size = s[_RING]
    length = 1 << shift
    place = at - (PRETRIGGER << shift)
    if place < 0:
        place += size
    for i in range(PRETRIGGER):
        out[i] = int(_mean(ring, place, size, shift))
        place += length
        if place >= size:
            place -= size
    s[_STATE] = _CAPTURE
    s[_OUT] = PRETRIGGER
    s[_LEFT] = FINE
    s[_SEGMENT] = 0
    s[_SHIFT] = shift
    s[_HELD_SHIFT] = shift
    s[_SAMPLE_SUM] = 0
    s[_SAMPLE_LEFT] = length
    s[_SAMPLE_CLIP] = 0
    s[_PEAK] = 0
    s[_CLIPPED] = 0
    s[_BEFORE] = s[_BASE] >> 3
    s[_OVER] = 0


@micropython.viper
def _watch(ring: ptr16, at: int, left: int, s: ptr32) -> int:  # noqa: F821
    """Go over up to ``left`` conversions that lie in a row; returns how many were taken.

    With _OVER at 2 the one that it stopped at and the one before it are a rise.
    """
    take = s[_STEP_LEFT]
    if left < take:
        take = left
    calm = s[_CALM] if s[_STATE] != _OFF else FULL
    low = s[_MIN]
    high = s[_MAX]
    over = s[_OVER]
    summed = 0
    step = 0
    n = 0
    done = 0
    while n < take:
        code = ring[at + n]
        n += 1
        step += code
        if code > calm:
            over += 1
            if over == 2:
                break
        else:
            over = 0
            summed += code
            done += 1
            if code < low:
                low = code
            if code > high:
                high = code
    s[_OVER] = over
    if s[_COUNT] + done <= WINDOW_MOST:
        # A window that is full keeps what it has: 0.13 s and more, ten waves of lamps on mains.
        s[_SUM] = s[_SUM] + summed
        s[_COUNT] = s[_COUNT] + done
        s[_MIN] = low
        s[_MAX] = high
    s[_STEP_SUM] = s[_STEP_SUM] + step
    s[_STEP_LEFT] = s[_STEP_LEFT] - n
    if s[_STEP_LEFT] == 0:
        s[_BASE] = s[_BASE] + (s[_STEP_SUM] >> s[_STEP_SHIFT]) - (s[_BASE] >> 3)
        s[_STEP_SUM] = 0
        s[_STEP_LEFT] = 1 << s[_STEP_SHIFT]
        if s[_HOLD]:
            s[_HOLD] = s[_HOLD] - 1
        _set_calm(s)
    return n


@micropython.viper
def _capture(ring: ptr16, at: int, left: int, s: ptr32, out: ptr16) -> int:  # noqa: F821
    """Fold up to ``left`` conversions that lie in a row into samples; returns how many were taken."""
    shift = s[_SHIFT]
    total = s[_SAMPLE_SUM]
    to_go = s[_SAMPLE_LEFT]
    clip = s[_SAMPLE_CLIP]
    peak = s[_PEAK]
    place = s[_OUT]
    samples = s[_LEFT]
    n = 0
    while n < left and samples > 0:
        code = ring[at + n]
        n += 1
        total += code
        if code > peak:
            peak = code
        if code >= CLIP:
            clip = 1
        to_go -= 1
        if to_go == 0:
            if clip:
                s[_CLIPPED] = 1
                out[place] = 65535
            else:
                out[place] = (((total << 1) + (1 << shift)) << 3) >> shift
            place += 1
            samples -= 1
            total = 0
            clip = 0
            to_go = 1 << shift
    s[_SAMPLE_SUM] = total
    s[_SAMPLE_LEFT] = to_go
    s[_SAMPLE_CLIP] = clip
    s[_PEAK] = peak
    s[_OUT] = place
    s[_LEFT] = samples
    if samples == 0:
        if s[_SEGMENT] == 0:
            s[_SEGMENT] = 1
            s[_LEFT] = s[_COARSE]
            s[_SHIFT] = shift + 3
            s[_SAMPLE_LEFT] = COARSE_TIMES << shift
        else:
            # From here a rise above what is left of this pop is another pop.
            s[_STATE] = _HELD
            s[_BASE] = (out[place - 1] >> 4) << 3
            s[_STEP_SUM] = 0
            s[_STEP_LEFT] = 1 << s[_STEP_SHIFT]
            s[_OVER] = 0
            s[_HOLD] = 0
            _set_calm(s)
    return n


@micropython.viper
def _take(ring: ptr16, at: int, count: int, s: ptr32, out: ptr16):  # noqa: F821
    size = s[_RING]
    while count > 0:
        row = size - at
        if count < row:
            row = count
        state = s[_STATE]
        if state == _CAPTURE:
            n = int(_capture(ring, at, row, s, out))
        elif state == _SETTLE:
            n = s[_LEFT]
            if row < n:
                n = row
            s[_LEFT] = s[_LEFT] - n
            if s[_LEFT] == 0:
                s[_BASE] = ring[at + n - 1] << 3
                s[_STEP_SUM] = 0
                s[_STEP_LEFT] = 1 << s[_STEP_SHIFT]
                s[_OVER] = 0
                s[_STATE] = _WATCH
                _set_calm(s)
        else:
            n = int(_watch(ring, at, row, s))
            if s[_OVER] >= 2:
                s[_OVER] = 0
                if state == _WATCH and s[_HOLD] == 0:
                    # The first of the two is the trigger: both are taken again, as samples.
                    n -= 2
                    place = at + n
                    if place < 0:
                        place += size
                    _trigger(ring, place, s, out)
                elif state == _HELD and s[_HOLD] == 0:
                    s[_HOLD] = s[_STEPS_LOST]
                    s[_LOST] = (s[_LOST] + 1) & 0xFFFF
        at += n
        if at >= size:
            at -= size
        elif at < 0:
            at += size
        count -= n


def _log2(value):
    shift = 0
    while 2 << shift <= value:
        shift += 1
    return shift


class Capture:
    """What becomes of the conversions in a ring of ``ring_conversions``, which come every ``interval_ns``."""

    def __init__(self, ring_conversions, interval_ns):
        self.interval_ns = interval_ns
        fine_us = FINE * interval_ns // 1000
        coarse_us = COARSE_TIMES * interval_ns // 1000
        self.coarse = max(COARSE_LEAST, -(-(WINDOW_US - fine_us) // coarse_us))
        self.fine = PRETRIGGER + FINE
        """Samples of the first segment of a block: those before the trigger and the fine ones after it."""
        self.window_ms = (FINE * interval_ns + self.coarse * COARSE_TIMES * interval_ns + 500000) // 1000000
        self.samples = array("H", bytes(2 * (self.fine + self.coarse)))
        self._settle = SETTLE_US * 1000 // interval_ns
        s = self._s = array("i", [0] * _WORDS)
        s[_RING] = ring_conversions
        s[_COARSE] = self.coarse
        s[_STEP_SHIFT] = _log2(STEP_US * 1000 // interval_ns)
        s[_STEP_LEFT] = 1 << s[_STEP_SHIFT]
        s[_STEPS_LOST] = LOST_US * 1000 // interval_ns >> s[_STEP_SHIFT]
        s[_THRESHOLD] = 96  # 6 codes of 256, as in the other builds
        self._start_window()
        _set_calm(s)

    def take(self, ring, at, count):
        """Go over ``count`` conversions of the ring from place ``at`` on."""
        _take(ring, at, count, self._s, self.samples)

    def state(self):
        """OFF, SETTLE, WATCH, HOLDING (a capture is under way) or HELD."""
        return self._s[_STATE]

    def arm(self):
        """Start to watch for pops through SETTLE; drops a capture in progress."""
        s = self._s
        self._start_window()
        # At least what a capture wants from before its trigger, so that nothing of the old range is in it.
        s[_LEFT] = max(self._settle, PRETRIGGER << s[_FACTOR])
        s[_HOLD] = 0
        s[_OVER] = 0
        s[_STATE] = _SETTLE

    def disarm(self):
        """Stop to watch.  A capture in progress is dropped; one that is held stays."""
        if self._s[_STATE] != _HELD:
            self._s[_STATE] = _OFF

    def release(self, armed):
        """The held samples have been encoded: watch again, or OFF."""
        self._s[_STATE] = _WATCH if armed else _OFF

    def overrun(self):
        """Conversions were overwritten before they were seen: what was under way is lost, the rest begins anew."""
        s = self._s
        if s[_STATE] == _CAPTURE:
            s[_LOST] = (s[_LOST] + 1) & 0xFFFF
        if s[_STATE] == _OFF or s[_STATE] == _HELD:
            s[_OVER] = 0
        else:
            self.arm()

    def step_is_no_pop(self):
        """After a range switch while nothing is watched for: the step of the level is not counted as a lost pop."""
        self._s[_HOLD] = self._s[_STEPS_LOST]

    def set_factor(self, factor):
        """Samples are means of so many conversions (1, 2, 4, 8) from the next arming on."""
        self._s[_FACTOR] = _log2(factor)

    def factor(self):
        """Return the factor now in force."""
        return 1 << self._s[_FACTOR]

    def set_threshold(self, codes):
        """Set the rise, in codes of 12 bits, that is a pop."""
        self._s[_THRESHOLD] = codes
        _set_calm(self._s)

    def threshold(self):
        """Return the threshold in codes of 12 bits."""
        return self._s[_THRESHOLD]

    def baseline(self):
        """Return the baseline in eighths of a code."""
        return self._s[_BASE]

    def lost(self):
        """Return how many pops were seen but not kept since start; wraps at 65,536."""
        return self._s[_LOST]

    def held_factor(self):
        """Return the factor of the samples that are held."""
        return 1 << self._s[_HELD_SHIFT]

    def clipped(self):
        """Return whether a held capture has a conversion at full scale."""
        return self._s[_CLIPPED]

    def truncated(self):
        """Return whether light had not fallen back when the held capture was full.

        That is when the mean of the last 16 samples lies above the baseline by more than 1/32 of the peak's height and
        by more than one code of 8 bits.
        """
        s = self._s
        tail = 0
        end = self.fine + self.coarse
        for i in range(end - TAIL, end):
            tail += self.samples[i]
        above = (tail >> 8) - s[_BEFORE]  # mean of 16 samples of 16 bits, in codes of 12
        return above > 16 and above * 32 > s[_PEAK] - s[_BEFORE]

    def window(self, out):
        """Hand out sum, count, smallest and largest code of the steady window in ``out`` and begin a new one.

        False, and nothing taken, when there is no conversion in it.
        """
        s = self._s
        if s[_COUNT] == 0:
            return False
        for i in range(4):
            out[i] = s[_SUM + i]
        self._start_window()
        return True

    def highest(self):
        """Return the highest code of the window so far, or of a capture under way."""
        s = self._s
        return s[_PEAK] if s[_STATE] == _CAPTURE else s[_MAX]

    def _start_window(self):
        s = self._s
        s[_SUM] = s[_COUNT] = s[_MAX] = 0
        s[_MIN] = FULL
