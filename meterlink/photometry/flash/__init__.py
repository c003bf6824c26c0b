"""What one pop tells: luminous exposure, peak, t0.5 and t0.1, ambient light, each with its uncertainty.

Definitions (attributed to ISO 2827:1988 in secondary sources; its text was not seen): t0.5 is the time during which
the light is above half of its peak, t0.1 above a tenth, both above ambient.  With several humps the times above the level add
up; ``span05_s`` and ``span01_s`` run from the first rise to the last fall.  For a train of pulses (high-speed sync,
pulsing light) t0.5 and t0.1 are these spans, for single pulses say nothing there.

What the samples do not hold is in the uncertainties.  A rise at once is somewhere in its sample interval h: that alone is
h / sqrt(12) of the peak, and with noise of a hundredth of it and 40 samples above a tenth no method can know the exposure of an
exponential better than to 0.0245 stop (``benchmarks/bench_flash.py`` has the derivation; ``analyse`` comes to 0.025).  Pulses of up
to 60 such samples that are two exponentials within their noise are read as such (``flash_model``), others as they stand.

``analyse`` and ``analyse_counts`` raise ``ValueError`` in one line for data from which nothing follows.  What has to be said of a
pop is a ``Note``, a code with numbers; its sentence stands in ``words/phrases/measuring.py``.
"""

from __future__ import annotations

from typing import Any

from meterlink.photometry.flash.pulse import CANNOT_TELL, LAMP, NEGATIVE, NO_QUIET, TOO_LONG, FlashPulse, NoPulse, Note

__all__ = [
    "CANNOT_TELL", "LAMP", "NEGATIVE", "NO_QUIET", "TOO_LONG", "FlashPulse", "NoPulse", "Note", "analyse", "analyse_counts",
]  # fmt: skip


def analyse(
    illuminance_lx: Any,
    sample_interval_s: Any,
    shutter_s: float | None = None,
    *,
    full_scale_lx: float | None = None,
) -> FlashPulse:
    """Return what a waveform in lx says.

    ``sample_interval_s`` in s, or the time of each sample.  ``shutter_s``: only
    what falls inside a window of that length from the start of the pulse on counts.  ``full_scale_lx``: samples at or above
    it are clipped; below it, or without it, a top that is flat where a flash tube's is round counts as clipped too.
    Up to 16,777,216 samples.
    """
    from meterlink.photometry.flash import analysis as flash_analysis

    return flash_analysis.analyse(illuminance_lx, sample_interval_s, shutter_s, full_scale_lx)


def analyse_counts(
    codes: Any,
    scale_lx: float,
    sample_interval_s: Any,
    *,
    zero_code: float = 0.0,
    full_scale_code: int | None = None,
    pretrigger: int | None = None,
) -> FlashPulse:
    """Return what integer codes of a converter say: light = (code - zero_code) * scale_lx.

    An ADC that truncates has its zero at -0.5 (a code c stands for c + 0.5).  Codes at or above ``full_scale_code`` (255,
    1023, 4095) are clipped.  ``pretrigger``: samples known to be before the pop.
    """
    import numpy as np

    if not 0.0 < scale_lx < float("inf"):
        raise ValueError(f"scale_lx must be positive, got {scale_lx!r}")
    light = (np.asarray(codes, dtype=np.float64) - zero_code) * scale_lx
    full = None if full_scale_code is None else (full_scale_code - zero_code) * scale_lx * (1.0 - 1e-12)
    from meterlink.photometry.flash import analysis as flash_analysis

    return flash_analysis.analyse(light, sample_interval_s, None, full, pretrigger, scale_lx)
