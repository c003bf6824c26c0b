"""Run the netlists and keep what they say: ``figures.json``, from which the notes' tables are made.

``python -m hardware_notes.spice.run`` writes the netlists and the figures anew; needs the program ``ngspice`` (Debian: ngspice).
The tests run every netlist again and hold the figures to what comes out.
"""

from __future__ import annotations

import json
import math
import random
import re
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import NamedTuple

import numpy as np
from scipy.integrate import trapezoid

from hardware_notes.design import circuit as c
from hardware_notes.design.builds import BUILDS
from hardware_notes.spice import decks

FOLDER = Path(__file__).parent
FIGURES = FOLDER / "figures.json"
DRAWS = 500
SEED = 20
Figures = dict[str, float]


def available() -> bool:
    """Whether ngspice is there."""
    return shutil.which("ngspice") is not None


def ngspice(text: str, wanted: str = "") -> tuple[str, np.ndarray]:
    """Run one netlist in a folder of its own; return what it printed and the table that it wrote."""
    with tempfile.TemporaryDirectory() as folder:
        for library in FOLDER.glob("*.lib"):
            shutil.copy(library, folder)
        (Path(folder) / "deck.cir").write_text(text, encoding="utf-8")
        done = subprocess.run(["ngspice", "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, timeout=300, check=True)
        table = np.loadtxt(Path(folder) / wanted, skiprows=1) if wanted else np.empty((0, 0))
    return done.stdout, table


def measured(printed: str, name: str) -> list[float]:
    """All values of one ``meas`` in the order in which they were printed."""
    return [float(x) for x in re.findall(rf"^{name}\s*=\s*(\S+)", printed, re.M)]


def _width_s(t: np.ndarray, v: np.ndarray, part: float) -> float:
    """From the first to the last crossing of a part of the peak."""
    level = part * v.max()
    above = np.flatnonzero(v >= level)
    first, last = above[0], above[-1]
    rise = np.interp(level, v[first - 1 : first + 1], t[first - 1 : first + 1])
    fall = np.interp(-level, -v[last : last + 2], t[last : last + 2])
    return float(fall - rise)


def _phases(build: c.Build, t: np.ndarray, v: np.ndarray, area: float) -> float:
    """Largest error of the exposure as sum of samples, whatever the moment of the first one."""
    starts = np.arange(16) / 16 * build.interval_s
    sums = [np.interp(np.arange(s, t[-1], build.interval_s), t, v).sum() * build.interval_s for s in starts]
    return float(max(abs(x / area - 1) for x in sums))


def flash(build: c.Build) -> Figures:
    """For each flash and gain: what the amplifier changes, against the light itself; percent."""
    _, table = ngspice(decks.flash(build), f"flash_{build.name}.txt")
    t, figures = table[:, 0], {}
    for j, a in enumerate(build.ranges):
        for i, shape in enumerate(decks.SHAPES):
            out, amp = (table[:, 1 + 2 * (len(decks.SHAPES) * j + i) + k] for k in (0, 1))
            light = np.array([shape.at(x - decks.BEGIN_S) for x in t]) * decks.FLASH_PART * build.reference_v
            seen = out - out[0]
            area = trapezoid(light, t)
            key = f"flash/{a.name}/{shape.name}"
            figures[f"{key}/exposure %"] = 100 * (trapezoid(seen, t) / area - 1)
            figures[f"{key}/peak %"] = 100 * (seen.max() / light.max() - 1)
            for name, part in (("t0.5", 0.5), ("t0.1", 0.1)):
                figures[f"{key}/{name} %"] = 100 * (_width_s(t, seen, part) / _width_s(t, light, part) - 1)
            figures[f"{key}/sampled %"] = 100 * _phases(build, t, seen, area)
            figures[f"{key}/filter keeps %"] = 100 * out.max() / amp.max()
    return figures


def clipping(build: c.Build) -> Figures:
    """For each gain and overload: how full the converter is (it is full from 100 % on), how far the minus input goes, how
    soon after the light has fallen below full scale the output follows it again to within 1 % of full scale."""
    _, table = ngspice(decks.clipping(build), f"clipping_{build.name}.txt")
    t, figures = table[:, 0], {}
    for j, a in enumerate(build.ranges):
        for i, times in enumerate(decks.OVERLOADS):
            out, amp, minus = (table[:, 1 + 3 * (len(decks.OVERLOADS) * j + i) + k] for k in range(3))
            ideal = np.array([decks.BURST.at(x - decks.BEGIN_S) for x in t]) * times * build.reference_v + build.lift_v
            # The light as a sound amplifier would show it: late by its lags.
            ideal = np.interp(t - c.lag_s(build, a), t, ideal)
            key = f"clipping/{a.name}/{times:g}x"
            figures[f"{key}/converter %"] = 100 * out.max() / build.reference_v
            figures[f"{key}/amplifier V"] = amp.max()
            figures[f"{key}/minus V"] = minus.min()
            falls = np.flatnonzero(ideal > 0.99 * build.reference_v)[-1]
            apart = np.flatnonzero(np.abs(out - ideal) > 0.01 * build.reference_v)
            apart = apart[apart > falls]
            figures[f"{key}/follows after us"] = 1e6 * float(t[apart[-1]] - t[falls]) if len(apart) else 0.0
    return figures


def noise(build: c.Build) -> Figures:
    """Noise at the converter, µV rms."""
    printed, _ = ngspice(decks.noise(build))
    return {f"noise/{name}/{level} uV": 1e6 * float(value)
            for name, level, value in re.findall(r"^noise_(bright|dim)(dark|half) (\S+)", printed, re.M)}  # fmt: skip


def supply(build: c.Build) -> Figures:
    """What 100 mV of ripple does to the raw value, in steps of the converter: dark, and at half of full scale."""
    _, table = ngspice(decks.supply(build), f"supply_{build.name}.txt")
    hz, values = table[:, 0], table[:, 1:].reshape(len(table), 3, 2) @ np.array([1, 1j])
    steps = 2**build.steady_bits
    figures = {}
    for f in decks.RIPPLE_HZ:
        bright, dim, reference = values[int(np.argmin(np.abs(hz - f)))]
        for a, out in zip(build.ranges, (bright, dim), strict=True):
            for level, raw in (("dark", build.lift_v / build.reference_v), ("half", 0.5)):
                moved = abs(out - raw * reference) / build.reference_v
                figures[f"supply/{a.name}/{f:g} Hz/{level} steps"] = float(0.1 * moved * steps)
    return figures


class Draw(NamedTuple):
    """One made-up copy of the front end."""

    values: dict[str, float]


def draws(build: c.Build, count: int = DRAWS, seed: int = SEED) -> list[Draw]:
    """Tolerances: resistors 1 %, C0G 5 %, diodes of 0.5 to 1.5 nF, a switch of half to two and a half times its resistance,
    the amplifier's
    bandwidth within 40 % and its second pole within another 25 % (the data sheet states no spread), its output 50 to 300 ohm,
    2 to 20 pF of breadboard."""
    dice = random.Random(seed)
    made = []
    for _ in range(count):
        branch = build.bright_ohm * dice.uniform(0.99, 1.01) + build.switch_ohm * dice.uniform(0.5, 2.5)
        gain = dice.uniform(0.6, 1.4)
        second = 21.4e6 * gain * dice.uniform(0.75, 1.25)  # a quicker chip is quicker throughout
        made.append(Draw({
            "r.xx.rdim": build.dim_ohm * dice.uniform(0.99, 1.01),
            "r.xx.rbranch": branch,
            "c.xx.cf": build.feedback_f * dice.uniform(0.95, 1.05),
            "c.xx.cdiode": dice.uniform(0.5e-9, 1.5e-9),
            "c.xx.cstray": dice.uniform(2e-12, 20e-12),
            "r.xx.xamp.rout": dice.uniform(50, 300),
            # The product of gain and bandwidth is gm / (2 pi Ca): more of it is a smaller Ca.
            "c.xx.xamp.ca": 10e-12 / gain,
            "c.xx.xamp.csecond": 1 / (2 * math.pi * second * 10),
        }))  # fmt: skip
    return made


def margins(build: c.Build, copies: list[Draw]) -> dict[str, list[float]]:
    """Phase margin of every copy, in degrees, by range."""
    control = ["set units=degrees", "alter v.xx.vloop ac = 1"]
    for copy in copies:
        control += [f"alter {name} = {value:.6g}" for name, value in copy.values.items()]
        control += [*decks.LOOP, f"alter r.xx.rbranch = {decks.OPEN_OHM:g}", *decks.LOOP, "destroy all"]
    lines = [decks.front_end(build, "x", "bright"), "Vlight light_x 0 dc 0"]
    printed, _ = ngspice(decks.deck(build, "Tolerances", lines, control))
    found = measured(printed, "margin_deg")
    if len(found) != 2 * len(copies):
        raise RuntimeError(f"{len(found)} margins from {len(copies)} copies in two ranges")
    return {"bright": found[0::2], "dim": found[1::2]}


def switched_pair_margins() -> list[float]:
    """The front end that these notes once had: resistor *and* capacitor behind the switch (6.81 kΩ with 1 nF, 68.1 kΩ with
    100 pF, switch 50 to 120 Ω, diodes of 0.5 to 1.5 nF); its margins, worst first."""
    found: list[float] = []
    for r, cap in ((6.81e3, 1e-9), (68.1e3, 100e-12)):
        for on in (50, 120):
            for diode in (0.58e-9, 1.5e-9):
                pair = f"Rpair amp_x pair {r:g}\nCpair amp_x pair {cap:g}\nRon pair minus_x {on:g}"
                build = BUILDS[0]._replace(dim_ohm=decks.OPEN_OHM, feedback_f=1e-15, diode_f=diode)
                lines = [decks.front_end(build, "x", "dim"), pair, "Vlight light_x 0 dc 0"]
                control = ["set units=degrees", "alter v.xx.vloop ac = 1", *decks.LOOP]
                printed, _ = ngspice(decks.deck(build, "Capacitor behind the switch", lines, control))
                found += measured(printed, "margin_deg")
    return sorted(found)


def stability(build: c.Build) -> Figures:
    """Nominal margin, and the least, the middle and the 1 % one of the copies."""
    printed, _ = ngspice(decks.stability(build))
    figures = {}
    for name, nominal in zip(("bright", "dim"), measured(printed, "margin_deg"), strict=True):
        figures[f"stability/{name}/nominal deg"] = nominal
    for name, found in margins(build, draws(build)).items():
        figures[f"stability/{name}/least of {DRAWS} deg"] = min(found)
        figures[f"stability/{name}/1 in 100 deg"] = float(np.percentile(found, 1))
    return figures


def everything() -> dict[str, Figures]:
    """All figures of both builds, rounded to four digits."""
    kinds = (flash, clipping, noise, supply, stability)
    raw = {build.name: {k: v for kind in kinds for k, v in kind(build).items()} for build in BUILDS}
    pair = switched_pair_margins()
    raw["b"] |= {"stability/switched pair/least deg": pair[0], "stability/switched pair/most deg": pair[-1]}
    return {name: {k: float(f"{v:.4g}") for k, v in figures.items()} for name, figures in raw.items()}


def load() -> dict[str, Figures]:
    """The kept figures."""
    figures: dict[str, Figures] = json.loads(FIGURES.read_text(encoding="utf-8"))
    return figures


def main() -> None:
    """Write netlists and figures."""
    for name, text in decks.files().items():
        (FOLDER / name).write_text(text, encoding="utf-8")
    FIGURES.write_text(json.dumps(everything(), indent=1) + "\n", encoding="utf-8")
    print(f"written: {len(decks.files())} netlists, figures.json")


if __name__ == "__main__":
    main()
