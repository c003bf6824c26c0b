"""How well the real firmware on the simulated chip, and our analysis behind it, know a flash: exposure, t0.1, t0.5.

For pulses of two exponentials with known figures, at a random phase to the chip's samples, errors in per cent: mean and 95th
percentile of their size.  Goals: t0.1 within 5 % (95th percentile) from 1/300 to 1/5000 s at a peak of 60 % of the range,
to 1/3500 s at 20 %.  Also what the sampling interrupt costs and how soon a pop is told.

Run from the repository's root: ``python -m benchmarks.bench_chip_flash``; ``--pops 96`` takes longer and tells more.
"""

from __future__ import annotations

import argparse
import math
import os
import random
from collections.abc import Callable

GOALS = {(0.6, 300), (0.6, 1000), (0.6, 3500), (0.6, 5000), (0.2, 300), (0.2, 1000), (0.2, 3500)}
SPEEDS = (300, 1000, 2000, 3500, 5000, 8000)
PEAKS = (0.8, 0.6, 0.2)
RISE = 0.1
"""Time constant of the rise as part of that of the decay."""
NOISE = 0.0005
"""Standard deviation as part of full scale: half a step of the converter."""
OFFSET = 0.0123
GOAL_PERCENT = 5.0


def _root(f: Callable[[float], float], low: float, high: float) -> float:
    """Where f changes its sign, by halving."""
    rising = f(high) > 0
    for _ in range(100):
        middle = (low + high) / 2
        if (f(middle) > 0) == rising:
            high = middle
        else:
            low = middle
    return (low + high) / 2


def duration_s(decay_s: float, part: float) -> float:
    """How long the pulse is above ``part`` of its peak."""
    rise_s = decay_s * RISE

    def light(t: float) -> float:
        return math.exp(-t / decay_s) - math.exp(-t / rise_s)

    top_s = rise_s * decay_s / (decay_s - rise_s) * math.log(decay_s / rise_s)
    level = light(top_s) * part
    begin_s = _root(lambda t: light(t) - level, 0.0, top_s)
    return _root(lambda t: light(t) - level, top_s, 60 * decay_s) - begin_s


def main(arguments: list[str] | None = None) -> None:
    """Print the table."""
    from hardware_notes.firmware.bench.simulated_chip import BRIGHT_FULL_SCALE_LX, SimulatedChip, why_not

    parser = argparse.ArgumentParser()
    parser.add_argument("--pops", type=int, default=24, help="pulses for each line of the table")
    pops = parser.parse_args(arguments if arguments is not None else []).pops
    reason = why_not()
    if reason:
        print(f"left out: {reason}")
        return
    with SimulatedChip() as chip:
        fd = os.open(chip.pty_path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        chip.amplifier(offset=OFFSET, noise=NOISE, seed=5)
        chip.step(50)
        print(f"{pops} pulses a line; error in %: mean [95 % of sizes below]")
        print(f"{'peak':>5} {'t0.1':>8}  {'exposure':>16} {'t0.1':>16} {'t0.5':>16}  goal {GOAL_PERCENT:g} %")
        chances = random.Random(3)
        for peak in PEAKS:
            for speed in SPEEDS:
                errors = _errors(chip, fd, peak * BRIGHT_FULL_SCALE_LX, 1 / speed, pops, chances)
                worst = _percentile(errors[1])
                goal = ("ok" if worst <= GOAL_PERCENT else "SHORT") if (peak, speed) in GOALS else ""
                cells = " ".join(f"{100 * sum(e) / len(e):+7.2f} [{_percentile(e):6.2f}]" for e in errors)
                print(f"{peak:5.0%} {'1/' + str(speed):>8}  {cells}  {goal}")
        stats = chip.stats()
        print(f"sampling interrupt: {stats.isr_mean_cycles:.0f} of 208 cycles on average, {stats.isr_longest_cycles} at most; "
              f"{stats.samples_missed} of {stats.conversions} conversions missed")  # fmt: skip
        _delays(chip, fd)
        os.close(fd)


def _percentile(errors: list[float]) -> float:
    ordered = sorted(abs(e) for e in errors)
    return 100 * ordered[min(len(ordered) - 1, math.ceil(0.95 * len(ordered)) - 1)]


def _read(fd: int) -> bytes:
    out = b""
    while True:
        try:
            out += os.read(fd, 65536)
        except BlockingIOError:
            return out


def _errors(chip, fd, peak_lx, t01_s, pops, chances):
    """Relative errors of exposure, t0.1 and t0.5 of so many pulses."""
    import numpy as np

    from hardware_notes.firmware.bench.simulated_chip import BRIGHT_FULL_SCALE_LX
    from meterlink.photometry import flash
    from meterlink.records import WaveBlock
    from meterlink.sensor.dialects.native import NativeDecoder
    from meterlink.sensor.measuring.flash import times_of

    decay_s = _root(lambda d: duration_s(d, 0.1) - t01_s, t01_s / 20, t01_s)
    t05_s = duration_s(decay_s, 0.5)
    out: tuple[list[float], list[float], list[float]] = ([], [], [])
    decoder = NativeDecoder()
    for _ in range(pops):
        truth_lxs = chip.pop(peak_lx, decay_us=decay_s * 1e6, rise_us=decay_s * RISE * 1e6, at_ms=1 + chances.random())
        chip.step(110)
        (block,) = [m for m in decoder.feed(_read(fd), 0.0) if isinstance(m, WaveBlock)]
        codes = np.frombuffer(block.data, np.uint8)
        pulse = flash.analyse_counts(
            codes, BRIGHT_FULL_SCALE_LX / 256, times_of(block), zero_code=-0.5, full_scale_code=255, pretrigger=block.pretrigger
        )
        out[0].append(pulse.exposure_lxs / truth_lxs - 1)
        out[1].append((pulse.t01_s or math.nan) / t01_s - 1)
        out[2].append((pulse.t05_s or math.nan) / t05_s - 1)
    return out


def _delays(chip, fd):
    """From the flash to its POP and to the last byte of its BLOCK, in simulated time."""
    from meterlink.records import PopNotice, WaveBlock
    from meterlink.sensor.dialects.native import NativeDecoder

    decoder = NativeDecoder()
    decoder.feed(_read(fd), 0.0)
    chip.pop(1e6, decay_us=300, rise_us=30)
    for ms in range(1, 200):
        chip.step(1)
        for message in decoder.feed(_read(fd), 0.0):
            if isinstance(message, PopNotice):
                print(f"POP {ms} ms after the flash")
            elif isinstance(message, WaveBlock):
                print(f"BLOCK complete {ms} ms after the flash")
                return


if __name__ == "__main__":
    import sys

    main(sys.argv[1:])
