"""A world of simulated sensors, references and lamps for the calibration benchmark; nothing of the calibrating code.

Each sensor has a gain, a range mismatch, a dark offset, a bend, noise and an angular error of its own, drawn from the
distributions of ``draw``.  Its converter output becomes the very records that a link would deliver (``Steady``,
``WaveBlock``) and sensing makes measurements of them, so that only chip and light are simulated.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from meterlink.records import Calibration, Evidence, Identity, Measurement, Segment, Steady, WaveBlock
from meterlink.sensor.measuring import flash, levels, ranges
from meterlink.sensor.measuring.calibrate import default_calibration

FULL_SCALE_LX = (2e6, 2e5)
INTERVAL_S = 13e-6
RING, PRETRIGGER = 1024, 128
STEADY_SAMPLES = 7692
AMPLIFIER_S = 6.8e-6


class Build(NamedTuple):
    """What this one sensor really is."""

    gain: tuple[float, float]
    """True sensitivity of each range against the design."""
    dark: tuple[float, float]
    """Offset as fraction of full scale."""
    bend: tuple[float, float]
    """Relative loss of sensitivity at full scale."""
    noise: float
    """Per sample, fraction of full scale."""
    side: tuple[float, float]
    """Angular error: ln(response/ideal) = a s + b s², s = 1 - cos."""
    receptor: str = "dome"
    top: float = 1.0
    """Where the amplifier gives way."""
    hum: float = 0.0
    """Mains hum, fraction of full scale at half range."""
    scatter: float = 0.0
    """Random gain from one reading to the next (a loose contact)."""
    swapped: bool = False
    slow_s: float = AMPLIFIER_S
    plane_m: float = 0.0
    """Dome plane behind its mark."""
    rim_leak: float = 0.0
    """Light past the dome's rim, in ideal response units, from beyond 75 degrees."""
    housing_leak: float = 0.0
    """Raw value through the cap in a lit room."""
    drift: float = 0.0
    """Change of the dark over an hour."""
    diode_log: float = 0.0
    """Softness of a diode that works against a voltage."""


class Reference(NamedTuple):
    """The reference meter."""

    scale_error: float
    """Its own relative scale error, shared by all its readings."""
    resolution_stops: float = 0.1
    noise: float = 0.005
    """In stops, from one reading to the next."""


U_PLANE_M = 0.005
"""How far a dome's plane is from where the reference's was."""
U_REFERENCE_REL = 0.02
"""Standard uncertainty of the reference's scale: a freshly calibrated meter, 0.03 stop."""


def draw(rng: np.random.Generator) -> tuple[Build, Reference]:
    """Draw one sound sensor and one reference."""
    common = math.exp(rng.normal(0, 0.15))
    mismatch = math.exp(rng.normal(0, 0.03))
    build = Build(
        gain=(common, common * mismatch),
        # The build notes lift the zero to 2 % of full scale; resistors and the amplifier's offset move it.
        dark=(rng.normal(0.02, 0.001), rng.normal(0.02, 0.001)),
        bend=(rng.uniform(-0.02, 0.02), rng.uniform(-0.02, 0.02)),
        noise=rng.uniform(0.0003, 0.002),
        side=(rng.normal(0, 0.1), rng.normal(0, 0.03)),
        plane_m=rng.normal(0, U_PLANE_M),
    )
    return build, Reference(scale_error=float(rng.normal(0, U_REFERENCE_REL)))


class SimulatedSensor:
    """One sensor in its world; every measurement goes through the converter and meterlink's own sensing."""

    def __init__(self, build: Build, rng: np.random.Generator, calibration: Calibration | None = None) -> None:
        self.build, self.rng = build, rng
        self.identity = Identity(
            "sim-1", "simulated", "meterlink-1", flash=True, ranges=("bright", "dim"), adc_bits=10,
            ring_samples=RING, sample_interval_s=INTERVAL_S,
        )  # fmt: skip
        self.calibration = calibration or default_calibration(self.identity)
        self.at_s = 0.0
        self.pop = 0

    def response(self, angle_deg: float) -> float:
        """True response of this receptor relative to its axis."""
        b = self.build
        cosine = math.cos(math.radians(angle_deg))
        if b.receptor == "flat":
            return max(cosine, 0.0) + (0.004 if cosine < 0.05 else 0.0)
        s = 1 - cosine
        ideal = (1 + cosine) / 2
        leak = b.rim_leak * max(0.0, math.sin(math.radians(angle_deg if angle_deg > 0 else -angle_deg) / 2) - 0.6)
        return ideal * math.exp(b.side[0] * s + b.side[1] * s * s) + leak

    def raw(self, light: np.ndarray | float, index: int) -> np.ndarray:
        """Analogue output, fraction of the converter's full scale, without noise."""
        b = self.build
        wired = 1 - index if b.swapped else index
        x = np.asarray(light) * b.gain[index] / FULL_SCALE_LX[wired]
        if b.diode_log:
            x = np.log1p(b.diode_log * x) / b.diode_log
        else:
            x = x * (1 - b.bend[index] * np.minimum(x, 1.2))
        return np.minimum(x + b.dark[index] + b.drift * self.at_s / 3600, b.top)

    def steady(self, light_lx: float, index: int, angle_deg: float = 0.0, *, capped_leak: bool = False) -> Measurement:
        """Take steady light over a tenth of a second."""
        self.at_s += 10.0
        sample = self._steady_sample(light_lx, index, angle_deg, capped_leak=capped_leak)
        return levels.level(sample, self.identity.sensor_id, self.calibration)

    def _steady_sample(self, light_lx: float, index: int, angle_deg: float, *, capped_leak: bool = False) -> Steady:
        b = self.build
        gain = 1 + b.scatter * self.rng.normal() if b.scatter else 1.0
        level = float(self.raw(light_lx * self.response(angle_deg) * gain, index))
        level += b.housing_leak if capped_leak else 0.0
        t = np.arange(512) / 512 * 5 * 2 * np.pi
        wave = level * (1 + b.hum * np.sin(t)) + self.rng.normal(0, b.noise, 512)
        codes = np.clip(np.floor(wave * 1024), 0, 1023)
        # 512 samples stand for the thousands in the window: the noise of their mean is made that of the whole window's.
        mean = level + self.rng.normal(0, b.noise / math.sqrt(STEADY_SAMPLES))
        smeared = self._mean_code(mean, math.hypot(b.noise, 2e-4))
        return Steady(
            self.at_s, (smeared + 0.5) / 1024, index, bool(codes.max() >= 1023), raw_min=(codes.min() + 0.5) / 1024,
            raw_max=(codes.max() + 0.5) / 1024, window_s=0.1, sample_count=STEADY_SAMPLES,
        )  # fmt: skip

    def noise_rel(self, m: Measurement) -> float:
        """True relative scatter of a measurement (for the oracle only): found by taking many of one light.

        A pop: 0.07 % of full scale from the converter's steps and half of a sample's noise, over the peak.
        """
        full = FULL_SCALE_LX[m.range_index]
        if m.kind == "flash":
            return math.hypot(7e-4, 0.5 * self.build.noise) * full / (m.peak_lx or full)
        return 1 / 1024 / math.sqrt(12) * full / max(m.illuminance_lx or 0.0, 1e-3 * full)

    def _mean_code(self, level: float, noise: float) -> float:
        """Mean of the truncated codes of a noisy level: noise of a code and more makes the steps vanish."""
        codes = np.arange(max(0, int(level * 1024) - 12), min(1024, int(level * 1024) + 13))
        edges = (codes[1:] / 1024 - level) / (noise * math.sqrt(2))
        above = 0.5 * (1 - np.array([math.erf(e) for e in edges]))
        return float(min(codes[0] + above.sum(), 1023))

    def flash(
        self, exposure_lxs: float, index: int, tau_s: float = 4e-4, angle_deg: float = 0.0, ambient_lx: float = 100.0
    ) -> Measurement:
        """Take one pop: a pulse that rises in 30 µs and falls exponentially."""
        self.at_s += 5.0
        self.pop = (self.pop + 1) & 0xFFFF
        b = self.build
        gain = 1 + b.scatter * self.rng.normal() if b.scatter else 1.0
        rise = 30e-6
        t = (np.arange(RING) - PRETRIGGER + self.rng.uniform(0, 1)) * INTERVAL_S
        peak = exposure_lxs * self.response(angle_deg) * gain / (tau_s - rise * tau_s / (rise + tau_s))
        # The one pole of the amplifier, exactly, for a difference of two exponentials.
        pulse = peak * (_filtered(t, tau_s, b.slow_s) - _filtered(t, rise * tau_s / (rise + tau_s), b.slow_s))
        hum = 1 + b.hum * np.sin(2 * np.pi * 50 * t + self.rng.uniform(0, 2 * np.pi)) if b.hum else 1.0
        wave = self.raw((pulse + ambient_lx) * hum, index) + self.rng.normal(0, b.noise, RING)
        codes = _carried(np.clip(np.floor(wave * 1024), 0, 1023))
        block = WaveBlock(
            self.at_s, self.pop, codes.tobytes(), 8, 8, (Segment(0, RING, INTERVAL_S),), PRETRIGGER, index,
            clipped=bool(codes.max() >= 255), truncated=bool(codes[-40:].mean() > codes[:100].mean() + 10),
        )  # fmt: skip
        # The steady light that came just before on this range, as a sensor keeps it.
        room = self._steady_sample(ambient_lx, index, angle_deg)
        found = flash.measure(block, self.identity.sensor_id, self.calibration, room)
        if found.incomplete:
            return found
        names = self.identity.ranges
        advice = ranges.after_pop(flash.peak_raw(block, self.calibration), found.clipped, index, self.calibration, names)
        evidence = Evidence(peak_raw=flash.peak_raw(block, self.calibration)) if advice.clipped else found.evidence
        return found._replace(clipped=advice.clipped, too_dim=advice.too_dim, wave=None, evidence=evidence)


def _carried(conversions: np.ndarray) -> np.ndarray:
    """Eight bits of each ten as the firmware cuts them: what is cut off is carried to the next sample, and the half
    steps by which both converters read low are levelled."""
    whole = np.floor(np.cumsum(conversions - 1.5) / 4 + 0.5)
    return np.clip(np.diff(whole, prepend=0.0), 0, 255).astype(np.uint8)


def _filtered(t: np.ndarray, tau: float, pole: float) -> np.ndarray:
    after = np.maximum(t, 0)
    if abs(tau - pole) < 1e-9:
        return np.where(t >= 0, after / tau * np.exp(-after / tau), 0.0)
    return np.where(t >= 0, (np.exp(-after / tau) - np.exp(-after / pole)) * tau / (tau - pole), 0.0)


def reference_reads(light: float, reference: Reference, rng: np.random.Generator) -> float:
    """What the reference shows for a light, as light: scale error, noise, and its display in tenths of a stop."""
    stops = math.log2(light * (1 + reference.scale_error)) + rng.normal(0, reference.noise)
    step = reference.resolution_stops
    if not step:
        return 2.0**stops
    return 2.0 ** (round(stops / step) * step)
