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
from hardware_notes.design.builds import BUILD_B, BUILD_B_INTERNAL, BUILD_C, FLASH_T01_S
from hardware_notes.design.plot import Bar, range_plot

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
        ("feedback resistor", lambda a: engineering(a.r_ohm, "Ω")),
        ("feedback capacitor", lambda a: engineering(a.c_farad, "F")),
        ("least capacitor for a quiet amplifier", lambda a: engineering(c.least_capacitor_f(build, a), "F", 2)),
        ("full scale", lambda a: engineering(c.full_scale_lx(build, a), "lx")),
        ("clips at", lambda a: engineering(c.clipping_lx(build, a), "lx")),
        ("photocurrent at full scale", lambda a: engineering(c.current_a(build, c.full_scale_lx(build, a)), "A")),
        ("time constant", lambda a: engineering(c.pole_s(a), "s", 2)),
        ("bandwidth", lambda a: engineering(c.bandwidth_hz(a), "Hz")),
        ("noise in the dark, at the output", lambda a: engineering(c.noise_v(build, a, 0), "V", 2)),
        ("noise at half of full scale", lambda a: engineering(c.noise_v(build, a, c.full_scale_lx(build, a) / 2), "V", 2)),
        (f"one step of {build.steady_bits} bits", lambda _: engineering(c.code_v(build, build.steady_bits), "V")),
        (f"one step of {build.flash_bits} bits", lambda _: engineering(c.code_v(build, build.flash_bits), "V")),
        ("one step of flash, as light", lambda a: engineering(c.full_scale_lx(build, a) / 2**build.flash_bits, "lx", 2)),
        ("lifted zero, raw", lambda _: f"{build.lift_v / build.reference_v:.2%}"),
    ]
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


def reference_choice() -> str:
    """Why 5 V and not 1.1 V."""
    rows = []
    for build in (BUILD_B, BUILD_B_INTERNAL):
        dim = build.ranges[-1]
        noise = c.noise_v(build, dim, c.full_scale_lx(build, dim) / 2)
        rows.append([
            engineering(build.reference_v, "V"),
            " and ".join(engineering(a.r_ohm, "Ω") for a in build.ranges),
            engineering(c.code_v(build, 10), "V", 2),
            engineering(noise, "V", 2),
            f"{5e-4 / build.reference_v:.3%}",
        ])  # fmt: skip
    return table(["reference", "resistors", "step of 10 bits", "noise, dim, half scale", "0.5 mV of offset is"], rows)


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
    "values c": lambda: values(BUILD_C),
    "readable b": lambda: readable(BUILD_B),
    "readable c": lambda: readable(BUILD_C),
    "reference": reference_choice,
    "light": lambda: parts_light(BUILD_B),
}
PLOTS = {"range_b.svg": BUILD_B, "range_c.svg": BUILD_C}
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
