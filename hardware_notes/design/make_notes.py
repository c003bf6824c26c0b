"""Write the design tables into the notes and draw the plots.

The notes hold ``<!-- design: NAME -->`` and ``<!-- end -->``; what stands between is made here, so that no figure in a
note is typed by hand.  ``python -m hardware_notes.design.make_notes`` rewrites them; with ``--check`` it only says
whether anything would change (a test runs that).
"""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Callable
from pathlib import Path

from hardware_notes.design import circuit as c
from hardware_notes.design import shell
from hardware_notes.design.builds import BUILD_B, BUILD_D, FLASH_T01_S
from hardware_notes.design.plot import Bar, range_plot
from hardware_notes.spice import decks
from hardware_notes.spice import run as spice

NOTES = Path(__file__).parent.parent
SHUTTER_S = 1 / 128
"""The exact value of the nominal 1/125 s."""


def engineering(value: float, unit: str, digits: int = 3) -> str:
    """Return a value with an SI prefix: 6.81 kΩ."""
    if value == 0:
        return f"0 {unit}"
    prefixes = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M"}
    power = max(-12, min(6, 3 * math.floor(math.log10(abs(value)) / 3 + 1e-9)))
    scaled = value / 10.0**power
    text = f"{scaled:.{digits}g}"
    if "e" in text:
        text = f"{scaled:.0f}"
    return f"{text} {prefixes[power]}{unit}"


def table(headings: list[str], rows: list[list[str]]) -> str:
    """Return a Markdown table."""
    lines = ["| " + " | ".join(headings) + " |", "|" + "---|" * len(headings)]
    return "\n".join(lines + ["| " + " | ".join(row) + " |" for row in rows])


def values(build: c.Build) -> str:
    """The electrical side of both ranges."""
    rows: list[tuple[str, Callable[[c.Amplifier], str]]] = [
        ("feedback, switch included", lambda a: engineering(a.r_ohm, "Ω")),
        ("capacitor across the amplifier", lambda a: engineering(a.c_farad, "F")),
        ("full scale", lambda a: engineering(c.full_scale_lx(build, a), "lx")),
        ("clips at", lambda a: engineering(c.clipping_lx(build, a), "lx")),
        ("photocurrent at full scale", lambda a: engineering(c.current_a(build, c.full_scale_lx(build, a)), "A")),
        ("time constant, filter included", lambda a: engineering(c.lag_s(build, a), "s", 2)),
        ("bandwidth", lambda a: engineering(c.bandwidth_hz(build, a), "Hz")),
        ("noise in the dark, at the converter", lambda a: engineering(c.noise_v(build, a, 0), "V", 2)),
        ("noise at half of full scale", lambda a: engineering(c.noise_v(build, a, c.full_scale_lx(build, a) / 2), "V", 2)),
        (f"one step of {build.steady_bits} bits", lambda _: engineering(c.code_v(build, build.steady_bits), "V")),
        *([(f"one step of {build.flash_bits} bits", lambda _: engineering(c.code_v(build, build.flash_bits), "V"))]
          if build.flash_bits != build.steady_bits else []),
        ("one step of flash, as light", lambda a: engineering(c.full_scale_lx(build, a) / 2**build.flash_bits, "lx", 2)),
        ("lifted zero, raw", lambda _: f"{build.lift_v / build.reference_v:.2%}"),
    ]  # fmt: skip
    cells = [[name, *(figure(a) for a in build.ranges)] for name, figure in rows]
    return table(["", *(f"range {a.name}" for a in build.ranges)], cells)


def readable(build: c.Build) -> str:
    """What can be read to a tenth of a stop, in light and in f-numbers."""
    rows = []
    for a in build.ranges:
        low, high = c.steady_range_lx(build, a)
        f = [c.f_number(e * SHUTTER_S, build.constant_lx) for e in (low, high)]
        light = f"{engineering(low, 'lx', 2)} to {engineering(high, 'lx', 2)}"
        rows.append([f"steady, 1/125 s, {a.name}", light, f"f/{f[0]:.2g} to f/{f[1]:.2g}", ""])
    for t01 in FLASH_T01_S:
        for a in build.ranges:
            low, high = c.flash_range_lxs(build, a, t01)
            f = [c.f_number(h, build.constant_lx) for h in (low, high)]
            rows.append([
                f"flash, t0.1 1/{1 / t01:.0f} s, {a.name}",
                f"{engineering(low, 'lx·s', 2)} to {engineering(high, 'lx·s', 2)}",
                f"f/{f[0]:.2g} to f/{f[1]:.2g}",
                f"{c.samples_inside(build, t01):.0f}",
            ])  # fmt: skip
    return table(["light", "from, to", "at ISO 100", "samples in t0.1"], rows)


def plot(build: c.Build) -> str:
    """The same as a picture."""
    bars = []
    for a in build.ranges:
        low, high = (c.f_number(e * SHUTTER_S, build.constant_lx) for e in c.steady_range_lx(build, a))
        bars.append(Bar("steady light, 1/125 s", a.name, low, high))
    for t01 in FLASH_T01_S:
        for a in build.ranges:
            low, high = (c.f_number(h, build.constant_lx) for h in c.flash_range_lxs(build, a, t01))
            bars.append(Bar(f"flash, t0.1 = 1/{1 / t01:.0f} s", a.name, low, high))
    caption = "Between the ends the converter's steps stay within a tenth of a stop (k=2) and nothing clips."
    return range_plot(f"What build ({build.name}) can read", bars, caption)


def simulated(build: c.Build) -> str:
    """What the circuit simulator says of the front end."""
    f = spice.load()[build.name]
    bits = f"steps of {build.steady_bits} bits"

    def both(key: str, form: str = "{:.3g}") -> list[str]:
        return [form.format(f[key.format(a.name)]) for a in build.ranges]

    def most(start: str, end: str) -> list[str]:
        found = [[v for k, v in f.items() if k.startswith(start.format(a.name)) and k.endswith(end)] for a in build.ranges]
        return [f"{max(v, key=abs):.2g}" for v in found]

    rows = [
        ["phase margin, nominal", *both("stability/{}/nominal deg", "{:.0f}°")],
        [f"least of {spice.DRAWS} copies with tolerances", *both(f"stability/{{}}/least of {spice.DRAWS} deg", "{:.0f}°")],
        ["noise in the dark, µV", *both("noise/{}/dark uV", "{:.2g}")],
        ["noise at half of full scale, µV", *both("noise/{}/half uV", "{:.2g}")],
    ]
    for shape in decks.SHAPES:
        cells = [" / ".join(f"{f[f'flash/{a.name}/{shape.name}/{kind} %']:+.1f}".replace("-0.0", "0.0").replace("+0.0", "0.0")
                            for kind in ("exposure", "t0.5", "t0.1")) for a in build.ranges]  # fmt: skip
        rows.append([f"{shape.name}: exposure / t0.5 / t0.1, % off", *cells])
    rows += [
        ["exposure from samples, worst moment and flash, %", *most("flash/{}/", "sampled %")],
        ["8 × too bright: converter reads, % (100 is full)", *both("clipping/{}/8x/converter %", "{:.1f}")],
        ["8 × too bright: minus input falls to, V", *both("clipping/{}/8x/minus V", "{:.2f}")],
        ["8 × too bright: follows the light again after, µs", *both("clipping/{}/8x/follows after us", "{:.0f}")],
    ]
    for hz in decks.RIPPLE_HZ[::2]:
        name = engineering(hz, "Hz")
        cells = [
            " / ".join(f"{f[f'supply/{a.name}/{hz:g} Hz/{level} steps']:.2g}" for level in ("dark", "half")) for a in build.ranges
        ]
        rows.append([f"0.1 V of {name} on the supply: dark / half scale, {bits}", *cells])
    return table(["", *(f"range {a.name}" for a in build.ranges)], rows)


def capacitor_choice() -> str:
    """Why the capacitor stands beside the switch and not behind it."""
    f = spice.load()["b"]
    fixed = min(f[f"stability/{a.name}/least of {spice.DRAWS} deg"] for a in BUILD_B.ranges)
    pair = f["stability/switched pair/least deg"]
    rows = [["behind the switch, with its resistor", f"{pair:.0f}°"], ["always across the amplifier", f"{fixed:.0f}°"]]
    return table(["capacitor", "least phase margin"], rows)


def parts_light(build: c.Build) -> str:
    """How the light is brought down to the diode."""
    a = build.ranges[0]
    full = c.full_scale_lx(build, a)
    return table(
        ["", "figure"],
        [
            ["light on the dome at full scale, bright", engineering(full, "lx")],
            ["light at the diode then", engineering(full * build.transmission, "lx")],
            ["dome and gel together let through", f"{build.transmission:.2%}"],
            ["codes of 8 bits that a pop must reach", f"{c.peak_codes_needed():.0f} ({c.peak_codes_needed() / 256:.0%})"],
        ],
    )


BLOCKS: dict[str, Callable[[], str]] = {
    "values b": lambda: values(BUILD_B),
    "values d": lambda: values(BUILD_D),
    "readable b": lambda: readable(BUILD_B),
    "readable d": lambda: readable(BUILD_D),
    "simulated b": lambda: simulated(BUILD_B),
    "simulated d": lambda: simulated(BUILD_D),
    "capacitor": capacitor_choice,
    "dome": shell.table,
    "light": lambda: parts_light(BUILD_B),
}
PLOTS = {"range_b.svg": BUILD_B, "range_d.svg": BUILD_D}
_BLOCK = re.compile(r"(<!-- design: ([a-z ]+) -->\n).*?(<!-- end -->)", re.S)


def made() -> dict[Path, str]:
    """Return every file that this script makes, with its text."""
    files = {NOTES / "design" / name: plot(build) for name, build in PLOTS.items()}
    for path in sorted(NOTES.glob("*.md")):
        text = path.read_text(encoding="utf-8")
        if _BLOCK.search(text):
            files[path] = _BLOCK.sub(lambda m: f"{m[1]}{BLOCKS[m[2]]()}\n{m[3]}", text)
    return files


def main(arguments: list[str]) -> int:
    """Write, or with ``--check`` compare."""
    changed = [path for path, text in made().items() if not path.exists() or path.read_text(encoding="utf-8") != text]
    if "--check" in arguments:
        print("\n".join(f"not up to date: {p.relative_to(NOTES)}" for p in changed) or "all notes are up to date")
        return 1 if changed else 0
    for path in changed:
        path.write_text(made()[path], encoding="utf-8")
        print(f"written: {path.relative_to(NOTES)}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
