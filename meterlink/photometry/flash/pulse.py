"""What is known of one pop when its waveform was read, or why nothing is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

LAMP, TOO_LONG, NO_QUIET, NEGATIVE, CANNOT_TELL = "lamp", "too_long", "no_quiet", "negative", "cannot_tell"


class NoPulse(ValueError):
    """The samples are in order, and yet no figures of a pop follow from them.

    ``why``: ``lamp`` (the light rises and stays), ``too_long`` (it has hardly begun to fall at the end), ``no_quiet`` (pulse
    from the first sample to the last), ``negative`` (light below dark), ``cannot_tell`` (it pulses, and no quiet stretch tells a
    train from a lamp).  ``level_lx``: the light meant, where there is one;
    ``left``: light at the end above the ambient level, as part of the highest.
    """

    def __init__(self, why: str, level_lx: float | None = None, left: float | None = None) -> None:
        at = "" if level_lx is None else f", {level_lx:.3g} lx"
        super().__init__(f"no pulse figures ({why.replace('_', ' ')}{at})")
        self.why, self.level_lx, self.left = why, level_lx, left


class Note(NamedTuple):
    """One thing to be said of a pop: a code of ``words/phrases`` with its numbers."""

    code: str
    values: Mapping[str, float | str] = {}


class FlashPulse(NamedTuple):
    """What a waveform says.  ``u_`` values are standard uncertainties (k=1); None means not known."""

    kind: str
    """``flash``, ``train`` (many pulses in a row) or ``steady`` (no pop: mean and modulation only)."""
    exposure_lxs: float
    """Luminous exposure above ambient (inside the shutter window when one was given); at least that when clipped."""
    peak_lx: float
    """Highest light above ambient; for a train its mean level is ``mean_lx``."""
    t05_s: float | None
    t01_s: float | None
    ambient_lx: float
    """Level subtracted under the pulse; for steady light its mean."""
    u_exposure_lxs: float = 0.0
    u_peak_lx: float = 0.0
    u_t05_s: float | None = None
    u_t01_s: float | None = None
    u_ambient_lx: float = 0.0
    noise_lx: float = 0.0
    """Standard deviation of one sample."""
    ambient_before_lx: float | None = None
    ambient_after_lx: float | None = None
    ambient_doubt_lxs: float = 0.0
    """Largest error of the exposure when the ambient light changed during the pop; 0 when it did not."""
    total_exposure_lxs: float = 0.0
    """Exposure without a shutter window."""
    tail_lxs: float = 0.0
    """Part of the exposure that was extrapolated."""
    start_s: float = 0.0
    """First rise through a tenth of the peak, from the first sample on."""
    end_s: float = 0.0
    """Last fall through a tenth of the peak."""
    span05_s: float | None = None
    span01_s: float | None = None
    humps: int = 1
    """Stretches above half of the peak."""
    sample_count: int = 0
    """Samples above a tenth of the peak: with few of them everything is less certain, see the uncertainties."""
    clipped: bool = False
    flat_below_full_scale: bool = False
    """Clipped by what comes before the converter: its top is flat where a flash tube's is not."""
    truncated: bool = False
    """The record ended before the light had fallen back, or began inside the pop."""
    begins_inside: bool = False
    left: float | None = None
    """Truncated: light at the end of the record above ambient, as part of the peak."""
    exposure_bounds_lxs: tuple[float, float] | None = None
    """Clipped or truncated: between these."""
    peak_bounds_lx: tuple[float, float] | None = None
    t05_bounds_s: tuple[float, float] | None = None
    t01_bounds_s: tuple[float, float] | None = None
    preflash_lxs: float = 0.0
    """Exposure of earlier, weaker, separate flashes; not in ``exposure_lxs``."""
    preflash_lead_s: float | None = None
    other_lxs: float = 0.0
    """Exposure of another flash in the same record that is counted: neither clearly weaker nor clearly before."""
    other_lag_s: float | None = None
    """From the strongest flash to that one; negative: it came before."""
    mean_lx: float = 0.0
    """Train: mean level from first rise to last fall.  Steady: mean."""
    modulation: float = 0.0
    """Steady: (max - min) / (max + min)."""
    flicker_hz: float | None = None
    train_period_s: float | None = None
    """None when the samples do not resolve it."""
    pulse_count: int = 1
    notes: tuple[Note, ...] = ()
    """What must be said."""

    @property
    def u_exposure_rel(self) -> float:
        """Relative standard uncertainty of the exposure, 0 when there is none."""
        return self.u_exposure_lxs / self.exposure_lxs if self.exposure_lxs > 0.0 else 0.0

    def noted(self, code: str, /, **values: float | str) -> FlashPulse:
        """Return the same with one more note."""
        return self._replace(notes=(*self.notes, Note(code, values)))
