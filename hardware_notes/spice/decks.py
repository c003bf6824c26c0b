"""The netlists of the front end, made from ``design.builds``: ``NAME.cir`` beside this file are what these functions give.

Run one by hand with ``ngspice -b flash_b.cir``, in this folder.  ``python -m hardware_notes.spice.run`` runs them all.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import NamedTuple

from hardware_notes.design import circuit as c
from hardware_notes.design.builds import BUILDS, SUPPLY_DROP_OHM, SUPPLY_LOAD_OHM

OPEN_OHM = 1e12
STEP_S = 0.25e-6
BEGIN_S = 100e-6
"""When a flash begins."""
END_S = 6e-3
FLASH_PART = 0.8
"""Peak of the four flashes, as part of full scale."""
OVERLOADS = (1.05, 2.0, 4.0, 8.0)
RIPPLE_HZ = (100, 1e3, 10e3, 100e3, 1e6)


class Shape(NamedTuple):
    """A flash: a rise and a decay, at ``cut_s`` cut off to a fall of its own; or a bell."""

    name: str
    rise_s: float = 0.0
    decay_s: float = 0.0
    cut_s: float = 0.0
    fall_s: float = 0.0
    bell_s: float = 0.0

    def at(self, t_s: float) -> float:
        """Light at a time from the flash's beginning, its peak is 1."""
        if self.bell_s:
            return math.exp(-((t_s - 5 * self.bell_s) ** 2) / (2 * self.bell_s**2))
        if t_s < 0:
            return 0.0
        if self.cut_s and t_s > self.cut_s:
            return self.at(self.cut_s) * math.exp(-(t_s - self.cut_s) / self.fall_s)
        return (math.exp(-t_s / self.decay_s) - math.exp(-t_s / self.rise_s)) / self._top()

    def _top(self) -> float:
        t = self.rise_s * self.decay_s / (self.decay_s - self.rise_s) * math.log(self.decay_s / self.rise_s)
        return math.exp(-t / self.decay_s) - math.exp(-t / self.rise_s)

    def spice(self, peak: float) -> str:
        """The same as an expression of ngspice."""
        t = f"(time-{BEGIN_S:g})"
        if self.bell_s:
            return f"{peak:.8g}*exp(-pow({t}-{5 * self.bell_s:g},2)/{2 * self.bell_s**2:g})"
        whole = f"{peak / self._top():.8g}*(exp(-{t}/{self.decay_s:.6g})-exp(-{t}/{self.rise_s:g}))"
        if self.cut_s:
            level = peak * self.at(self.cut_s)
            whole = f"({t}<{self.cut_s:g} ? {whole} : {level:.8g}*exp(-({t}-{self.cut_s:g})/{self.fall_s:g}))"
        return f"time<{BEGIN_S:g} ? 0 : {whole}"


SHAPES = (
    Shape("slow head, t0.1 1/300 s", rise_s=60e-6, decay_s=1 / 300 / math.log(10)),
    Shape("quick head, t0.1 1/3000 s", rise_s=20e-6, decay_s=1 / 3000 / math.log(10)),
    Shape("cut off after 0.12 ms", rise_s=30e-6, decay_s=1e-3, cut_s=120e-6, fall_s=15e-6),
    Shape("bell of 0.1 ms", bell_s=100e-6 / 2.3548),
)
BURST = Shape("overload", rise_s=30e-6, decay_s=300e-6)


def branch_ohm(build: c.Build, range_name: str) -> float:
    """What the switch lays beside the fixed resistor."""
    return build.bright_ohm + build.switch_ohm if range_name == "bright" else OPEN_OHM


def front_end(build: c.Build, label: str, range_name: str, reference: str = "ref", shot_a: float = 0.0) -> str:
    """One instance; its nodes are ``light_LABEL``, ``out_LABEL``, ``amp_LABEL`` and ``minus_LABEL``."""
    return (
        f"X{label} light_{label} out_{label} amp_{label} minus_{label} {reference} vdd front_end\n"
        f"+ dim={build.dim_ohm:g} branch={branch_ohm(build, range_name):g} cf={build.feedback_f:g} cd={build.diode_f:g}\n"
        f"+ rfil={build.filter_ohm:g} cfil={build.filter_f:g} ltop={build.lift_top_ohm:g} lbot={build.lift_bottom_ohm:g}"
        f" ishot={shot_a:.6g}"
    )


def deck(build: c.Build, title: str, lines: Iterable[str], control: Iterable[str], supply_node: str = "vdd") -> str:
    """A whole file.  The supply is there from the beginning; the reference is an ideal one."""
    return "\n".join((
        f"* {title}, front end of build ({build.name}).  Made by hardware_notes/spice/decks.py: do not edit.",
        ".include amplifier.lib",
        ".include front_end.lib",
        f"Vdd {supply_node} 0 dc {build.supply_v:g}",
        f"Vref ref 0 dc {build.reference_v:.6g}",
        *lines,
        ".control",
        "set wr_vecnames",
        "set wr_singlescale",
        *control,
        "quit 0",
        ".endc",
        ".end",
        "",
    ))  # fmt: skip


def full_scale_a(build: c.Build, amplifier: c.Amplifier) -> float:
    """Photocurrent of full scale."""
    return build.reference_v / amplifier.r_ohm


def flash(build: c.Build) -> str:
    """Four flashes at both gains, peak at 80 % of full scale."""
    lines, nodes = [], []
    for a in build.ranges:
        for i, shape in enumerate(SHAPES):
            label = f"{a.name}{i}"
            lines += [front_end(build, label, a.name),
                      f"B{label} light_{label} 0 V={shape.spice(FLASH_PART * full_scale_a(build, a))}"]  # fmt: skip
            nodes += [f"v(out_{label})", f"v(amp_{label})"]
    control = [f"tran {STEP_S:g} {END_S:g} 0 {STEP_S:g}", f"wrdata flash_{build.name}.txt {' '.join(nodes)}"]
    return deck(build, "Four flashes at both gains", lines, control)


def clipping(build: c.Build) -> str:
    """One flash from a little to eight times too bright, at both gains."""
    lines, nodes = [], []
    for a in build.ranges:
        for i, times in enumerate(OVERLOADS):
            label = f"{a.name}{i}"
            lines += [front_end(build, label, a.name),
                      f"B{label} light_{label} 0 V={BURST.spice(times * full_scale_a(build, a))}"]  # fmt: skip
            nodes += [f"v(out_{label})", f"v(amp_{label})", f"v(minus_{label})"]
    control = [f"tran {STEP_S:g} {END_S:g} 0 {STEP_S:g}", f"wrdata clipping_{build.name}.txt {' '.join(nodes)}"]
    return deck(build, "Too much light", lines, control)


def noise(build: c.Build) -> str:
    """Noise at the converter, in the dark and at half of full scale."""
    lines, control = [], []
    for a in build.ranges:
        for level in (0.0, 0.5):
            label = f"{a.name}{'half' if level else 'dark'}"
            current = level * full_scale_a(build, a)
            lines += [front_end(build, label, a.name, shot_a=current), f"V{label} light_{label} 0 dc {current:.6g} ac 1"]
            control += [f"noise v(out_{label}) V{label} dec 40 1 100meg", f"echo noise_{label} $&onoise_total"]
    return deck(build, "Noise", lines, control)


LOOP = ("ac dec 30 1k 100meg", "let t = -v(minus_x)/v(xx.sensed)", "let tdb = db(t)", "let tp = 180+ph(t)",
        "meas ac crossing_hz when tdb=0", "meas ac margin_deg find tp when tdb=0")  # fmt: skip


def stability(build: c.Build) -> str:
    """The loop, broken inside the amplifier, in both ranges."""
    lines = [front_end(build, "x", "bright"), "Vlight light_x 0 dc 0"]
    control = ["set units=degrees", "alter v.xx.vloop ac = 1", *LOOP, f"alter r.xx.rbranch {OPEN_OHM:g}", *LOOP]
    return deck(build, "Gain of the open loop, bright then dim", lines, control)


def supply(build: c.Build) -> str:
    """Ripple of 1 V on the supply: at the converter's input and at its reference, dark, both ranges."""
    if build.name == "b":
        reference: tuple[str, ...] = (
            f"Rdrop raw avcc {SUPPLY_DROP_OHM:g}",
            f"Rload avcc 0 {SUPPLY_LOAD_OHM:g}",
            "Cavcc avcc 0 10u",
            "Iadc avcc 0 0.3m",
            "Vsame raw vdd dc 0",
        )
    else:
        # 200 ohm and 2.2 uF stand on the board (its maker's circuit, from memory); the shunt reference has 0.7 ohm.
        # The amplifier's own supply comes through 10 ohm with 10 uF behind it.
        reference = ("Rdrop raw avcc 200", "Cavcc avcc 0 2.2u", "Iadc avcc 0 0.15m", "Vshunt shunt 0 dc 3", "Rshunt avcc shunt 0.7",
                     "Ramp raw vdd 10", "Camp vdd 0 10u")  # fmt: skip
    lines = [*reference]
    for a in build.ranges:
        lines += [front_end(build, a.name, a.name, reference="avcc"), f"V{a.name} light_{a.name} 0 dc 0"]
    control = ["alter vdd acmag = 1", "ac dec 10 10 1meg", f"wrdata supply_{build.name}.txt v(out_bright) v(out_dim) v(avcc)"]
    return deck(build, "Ripple on the supply", lines, control, "raw")


DECKS: dict[str, Callable[[c.Build], str]] = {
    "flash": flash,
    "clipping": clipping,
    "noise": noise,
    "stability": stability,
    "supply": supply,
}


def files() -> dict[str, str]:
    """Every netlist by its file's name."""
    return {f"{name}_{build.name}.cir": make(build) for build in BUILDS for name, make in DECKS.items()}
