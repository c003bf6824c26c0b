"""What a sensor says: decoded, with units, not yet a reading.

``Sample`` is any of these.  ``raw`` values are fractions of the sensor's full scale (0 to 1) so that 8-bit blocks
and 10-bit sums share one calibration: a code c of n bits stands for (c + 0.5) / 2**n, since an ADC truncates.
"""

# No `from __future__ import annotations`: NamedTuple would compile every annotation, a third of the import's cost.
from typing import Any, NamedTuple

from meterlink.records.kinds import RangerState, Trouble


class Identity(NamedTuple):
    """Who is at the other end and what it can do."""

    sensor_id: str
    """Unique, stable over re-plugging: hex of the chip's id, or the address of a Bluetooth sensor."""
    name: str
    dialect: str
    """Name of the dialect that it speaks, e.g. ``meterlink-1``."""
    firmware: str = ""
    flash: bool = False
    """Sees a pop (has a fast waveform)."""
    steady: bool = True
    colour: bool = False
    ranges: tuple[str, ...] = ("only",)
    """Names of its sensitivity ranges, index 0 the least sensitive."""
    range_finder: bool = False
    adc_bits: int = 0
    ring_samples: int = 0
    sample_interval_s: float = 0.0
    battery: bool = False
    intervals: tuple[float, ...] = ()
    """Sample intervals it can be switched to, in seconds; empty when it cannot."""


class Steady(NamedTuple):
    """Steady light, averaged by the sensor over ``window_s``."""

    at_s: float
    """Monotonic time of the host at which the last byte arrived."""
    raw: float | None
    """Mean as fraction of full scale; None when the sensor reports lux itself."""
    range_index: int = 0
    clipped: bool = False
    illuminance_lx: float | None = None
    """Set by dialects that report lux; otherwise calibration fills it."""
    raw_min: float | None = None
    raw_max: float | None = None
    window_s: float = 0.0
    held_off_m: float | None = None
    sample_count: int = 1
    """ADC samples in the mean."""


class PopNotice(NamedTuple):
    """A pop was seen; its block follows (or is lost on the way, which is then known)."""

    at_s: float
    pop: int
    range_index: int = 0
    lost: int = 0
    """Pops that the sensor saw but could not keep since the last notice."""


class Segment(NamedTuple):
    """A run of samples at one interval, as fractions of full scale coded in integers of ``bits`` bits."""

    start: int
    """Index of its first sample in the block."""
    sample_count: int
    sample_interval_s: float


class WaveBlock(NamedTuple):
    """One captured flash as the sensor sent it: integers, not yet light."""

    at_s: float
    pop: int
    data: bytes
    """Little-endian unsigned integers of ``bits`` bits (8 or 16)."""
    bits: int
    scale_bits: int
    """The integers count in units of full scale / 2**scale_bits (8-bit samples: 8)."""
    segments: tuple[Segment, ...]
    pretrigger: int
    """Samples before the one that triggered."""
    range_index: int = 0
    clipped: bool = False
    truncated: bool = False
    """The ring ended before the light had fallen back."""
    held_off_m: float | None = None


class PopFigures(NamedTuple):
    """A flash that the sensor has integrated itself: figures above the room's light, no waveform."""

    at_s: float
    exposure_lxs: float
    u_rel: float
    """Relative standard uncertainty of the exposure, the sensor's scale aside."""
    peak_lx: float | None = None
    t05_s: float | None = None
    t01_s: float | None = None
    clipped: bool = False


class Colour(NamedTuple):
    """Colour of the light: CIE 1931 chromaticity, or raw channels that a stored matrix turns into it."""

    at_s: float
    x: float | None = None
    y: float | None = None
    cct_k: float | None = None
    duv: float | None = None
    channels: tuple[float, ...] = ()
    during_pop: bool = False


class HeldOff(NamedTuple):
    """What a range finder on the sensor says, in metres from its own zero."""

    at_s: float
    held_off_m: float | None
    u_m: float | None = None
    """Standard uncertainty of this one measurement by the finder's own account."""
    state: RangerState = RangerState.GOOD
    signal: float | None = None
    """Returned signal in counts a second."""


class Battery(NamedTuple):
    """Battery state; ``fraction`` 0 to 1 or None, ``voltage_v`` or None."""

    at_s: float
    fraction: float | None = None
    voltage_v: float | None = None


class Status(NamedTuple):
    """The sensor's own state: range, arming, and what went wrong on its side since start."""

    at_s: float
    range_index: int = 0
    armed: bool = True
    saturated: bool = False
    baseline_raw: float = 0.0
    threshold_raw: float = 0.0
    pretrigger: int = 0
    sample_interval_s: float = 0.0
    pops_seen: int = 0
    pops_lost: int = 0
    frames_refused: int = 0
    """Damaged frames that the sensor received."""
    uptime_s: float = 0.0
    reference_raw: float = 0.0
    """The sensor's own fixed reference as its converter sees it; 0: not measured, or the converter has a reference of its own."""
    reference_by_design_raw: float = 0.0
    """What it is at the converter's reference that the nominal full scales hold for."""
    reference_tolerance_rel: float = 0.0
    """By how much the fixed reference may be off by design."""
    temperature_c: float | None = None
    """Of its chip, by the chip's own thermometer: some degrees off, but always the same."""
    supply_v: float | None = None
    """Its supply, by its converter's own reference."""
    overruns: int = 0
    """How often since its start samples were lost before it had looked at them: each time a pop may have passed unseen."""


class Reply(NamedTuple):
    """The sensor's answer to one command: ``code`` 0 is done, anything else why not."""

    at_s: float
    command: int
    sequence: int
    code: int
    text: str = ""


Sample = Identity | Steady | PopNotice | PopFigures | WaveBlock | Colour | HeldOff | Battery | Status | Reply


class Evidence(NamedTuple):
    """What a refusal rests on, or a flash that was left out of a good pop; None where a number does not apply or is not known."""

    record_s: float | None = None
    """Length of the record from the trigger to its end."""
    left: float | None = None
    """Too long, lamp: light at the end of the record above what was before, as part of the highest."""
    level_lx: float | None = None
    """Lamp, no flash: the light at the end of the record, or its mean."""
    peak_raw: float | None = None
    """Clipped, too dim: the peak as part of the range's full scale."""
    next_range: int | None = None
    """Clipped, too dim: the range that the next pop is taken on; None when no range fits better."""
    apart_s: float | None = None
    """Two flashes in one record: from the one to the other.  Also of a good pop, whose pre-flash was left out."""
    apart_stops: float | None = None
    """Two flashes in one record: exposure of the later over the earlier."""


class Measurement(NamedTuple):
    """What sensing makes of samples: light at the dome, calibrated, not yet tied to a light of the set."""

    kind: str
    """``flash`` or ``steady``."""
    at_s: float
    """Monotonic host time."""
    sensor_id: str
    calibration_id: str
    exposure_lxs: float | None = None
    """Flash: luminous exposure above ambient.  None for steady light."""
    illuminance_lx: float | None = None
    """Steady light: mean illuminance.  None for a flash."""
    u_rel: float = 0.0
    """Relative standard uncertainty (k=1) of the value from noise and sampling, without the calibration scale."""
    peak_lx: float | None = None
    t05_s: float | None = None
    t01_s: float | None = None
    u_t05_s: float | None = None
    u_t01_s: float | None = None
    ambient_lx: float | None = None
    range_index: int = 0
    clipped: bool = False
    too_dim: bool = False
    incomplete: bool = False
    """The block was damaged or cut short: the pop was seen, its figures cannot be trusted."""
    modulation: float | None = None
    """Steady light: (max - min) / (max + min)."""
    cct_k: float | None = None
    duv: float | None = None
    x: float | None = None
    y: float | None = None
    held_off_m: float | None = None
    """From a range finder on the sensor; None when it has none or does not know."""
    wave: WaveBlock | None = None
    note: Any = ""
    """What sensing wants said (``words/told.py``: clips, the next pop is taken on the bright range); false when nothing."""
    trouble: Trouble | None = None
    """Why it is ``incomplete``."""
    exposure_bounds_lxs: tuple[float, float] | None = None
    """Of a clipped pop: between what was seen and the most that the clipped part can have added."""
    evidence: Evidence | None = None
    """Of a pop that becomes no reading (``incomplete``, ``clipped`` or ``too_dim``): the numbers that say so.
    Of a good one: how far before it its pre-flash was."""
    u_held_off_m: float | None = None
    """Standard uncertainty of ``held_off_m``."""
    held_off_unknown: str = ""
    """Why a range finder that is there does not know (a ``Unknown`` of ``measuring/ranger.py``)."""
    held_still: bool = False
    """Whether the range finder saw the dome held still."""
