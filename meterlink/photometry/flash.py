"""What one pop tells: luminous exposure, peak, t0.5 and t0.1, ambient light, each with its uncertainty.

Definitions (attributed to ISO 2827:1988 in secondary sources; its text was not seen): t0.5 is the time during which
the light is above half of its peak, t0.1 above a tenth, both above ambient.  With several humps the times above the level add
up; ``span05_s`` and ``span01_s`` run from the first rise to the last fall.  For a train of pulses (high-speed sync,
pulsing light) t0.5 and t0.1 are these spans, for single pulses say nothing there.

``analyse`` is the careful way, for one pop; ``measure`` and ``measure_many`` give the four plain numbers fast, from
integer codes (see ``flash_fast``).
All raise ``ValueError`` in one line for data from which nothing follows.  numpy is imported when first called.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from meterlink.photometry.flash_fast import PulseColumns, PulseNumbers, measure, measure_many

__all__ = [
    "KINDS",
    "FlashPulse",
    "PulseColumns",
    "PulseNumbers",
    "analyse",
    "analyse_counts",
    "measure",
    "measure_many",
]

KINDS = ("flash", "train", "steady")


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
    peak_at_s: float = 0.0
    span05_s: float | None = None
    span01_s: float | None = None
    humps: int = 1
    """Stretches above half of the peak."""
    sample_count: int = 0
    """Samples above a tenth of the peak: with few of them everything is less certain, see the uncertainties."""
    clipped: bool = False
    truncated: bool = False
    """The record ended before the light had fallen back."""
    exposure_bounds_lxs: tuple[float, float] | None = None
    """Clipped or truncated: between these."""
    peak_bounds_lx: tuple[float, float] | None = None
    t05_bounds_s: tuple[float, float] | None = None
    t01_bounds_s: tuple[float, float] | None = None
    preflash_lxs: float = 0.0
    """Exposure of an earlier, weaker, separate pulse; not in ``exposure_lxs``."""
    preflash_lead_s: float | None = None
    mean_lx: float = 0.0
    """Train: mean level from first rise to last fall.  Steady: mean."""
    modulation: float = 0.0
    """Steady: (max - min) / (max + min)."""
    flicker_hz: float | None = None
    train_period_s: float | None = None
    """None when the samples do not resolve it."""
    pulse_count: int = 1
    notes: tuple[str, ...] = ()
    """What must be said in words, each one sentence."""

    @property
    def u_exposure_rel(self) -> float:
        """Relative standard uncertainty of the exposure, 0 when there is none."""
        return self.u_exposure_lxs / self.exposure_lxs if self.exposure_lxs > 0.0 else 0.0


def analyse(
    illuminance_lx: Any,
    sample_interval_s: Any,
    shutter_s: float | None = None,
    *,
    window_start_s: float | None = None,
    full_scale_lx: float | None = None,
    pretrigger: int | None = None,
) -> FlashPulse:
    """Return what a waveform in lx says.

    ``sample_interval_s`` in s, or the time of each sample, or segments (number of samples, interval).  ``shutter_s``: only
    what falls inside a window of that length counts, from ``window_start_s`` (from the first sample on) or from the start
    of the pulse.  ``full_scale_lx``: samples at or above it are clipped; without it clipping is guessed from a flat
    top under noise.  ``pretrigger``: samples known to be before the pop.  Up to 16,777,216 samples.
    """
    from meterlink.photometry import flash_analysis

    return flash_analysis.analyse(
        illuminance_lx, sample_interval_s, shutter_s, window_start_s, full_scale_lx, pretrigger
    )


def analyse_counts(
    codes: Any,
    scale_lx: float,
    sample_interval_s: Any,
    shutter_s: float | None = None,
    *,
    zero_code: float = 0.0,
    full_scale_code: int | None = None,
    pretrigger: int | None = None,
) -> FlashPulse:
    """Return what integer codes of a converter say: light = (code - zero_code) * scale_lx.

    An ADC that truncates has its zero at -0.5 (a code c stands for c + 0.5).  Codes at or above ``full_scale_code`` (255,
    1023, 4095) are clipped.
    """
    import numpy as np

    if not 0.0 < scale_lx < float("inf"):
        raise ValueError(f"scale_lx must be positive, got {scale_lx!r}")
    light = (np.asarray(codes, dtype=np.float64) - zero_code) * scale_lx
    full = None if full_scale_code is None else (full_scale_code - zero_code) * scale_lx * (1.0 - 1e-12)
    from meterlink.photometry import flash_analysis

    return flash_analysis.analyse(light, sample_interval_s, shutter_s, None, full, pretrigger, scale_lx)
