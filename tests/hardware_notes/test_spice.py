"""The front end in a circuit simulator: its netlists run, and the notes' figures are what comes out."""

from __future__ import annotations

import pytest

from hardware_notes.design import circuit as c
from hardware_notes.design.builds import BUILD_B, BUILDS
from hardware_notes.spice import decks, run

needs_ngspice = pytest.mark.skipif(not run.available(), reason="needs ngspice (Debian: ngspice)")
each_build = pytest.mark.parametrize("build", BUILDS, ids=lambda b: b.name)
RANGES = ("bright", "dim")


def test_netlists_are_what_the_design_gives() -> None:
    """Every .cir file beside the script is made from the parts' values of now, and there is none besides."""
    wanted = decks.files()
    assert {p.name for p in run.FOLDER.glob("*.cir")} == set(wanted)
    for name, text in wanted.items():
        assert (run.FOLDER / name).read_text(encoding="utf-8") == text, "run python -m hardware_notes.spice.run"


@needs_ngspice
@each_build
@pytest.mark.parametrize("kind", [run.flash, run.clipping, run.noise, run.supply, run.stability], ids=lambda k: k.__name__)
def test_kept_figures_are_what_the_simulator_says(kind, build: c.Build) -> None:
    """Each kept figure comes out again: within 2 %, or 0.05 of a percent, degree, volt, microvolt, microsecond or step where it
    is small."""
    kept = run.load()[build.name]
    now = kind(build)
    assert now
    for key, value in now.items():
        allowed = 0.5 if key.endswith("after us") else 0.05
        assert value == pytest.approx(kept[key], rel=0.02, abs=allowed), f"{key}: run python -m hardware_notes.spice.run"


@needs_ngspice
@each_build
def test_no_copy_within_its_tolerances_comes_near_to_ringing(build: c.Build) -> None:
    """500 copies with parts, switch, diode of 0.5 to 1.5 nF and amplifier drawn from their tolerances keep 55° in both ranges."""
    found = run.margins(build, run.draws(build, seed=7))
    for name in RANGES:
        assert len(found[name]) == 500
        assert min(found[name]) >= 55


@needs_ngspice
def test_a_capacitor_behind_the_switch_is_what_let_it_ring() -> None:
    """With the capacitor behind the switch the margin falls to 25° to 33° in the bright range; without one at all, below 20°."""
    found = run.switched_pair_margins()
    assert found[0] < 30
    assert sum(x < 45 for x in found) >= 2
    bare = run.margins(BUILD_B._replace(feedback_f=1e-13), [run.Draw({"c.xx.cdiode": 0.58e-9})])
    assert bare["bright"][0] < 20


@each_build
def test_light_goes_through_unchanged(build: c.Build) -> None:
    """Exposure of all four flashes within 0.02 % at both gains, as samples within 0.6 %; t0.5 and t0.1 within 6 % (dim) and 0.1
    % (bright)."""
    kept = run.load()[build.name]
    for name in RANGES:
        for shape in decks.SHAPES:
            key = f"flash/{name}/{shape.name}"
            assert abs(kept[f"{key}/exposure %"]) < 0.02
            assert kept[f"{key}/sampled %"] < 0.6
            for part in ("t0.5", "t0.1"):
                assert abs(kept[f"{key}/{part} %"]) < (0.1 if name == "bright" else 6)


@each_build
def test_the_converter_is_full_before_the_amplifier_gives_way(build: c.Build) -> None:
    """From 1.05 times full scale on the converter stands at its end, whatever the filter keeps back; nothing ever goes beyond
    1 V below
    ground, which the amplifier's inputs bear; light after an overload is followed within 60 µs."""
    kept = run.load()[build.name]
    for name in RANGES:
        for times in decks.OVERLOADS:
            key = f"clipping/{name}/{times:g}x"
            assert kept[f"{key}/converter %"] > 100
            assert kept[f"{key}/minus V"] > -1
            assert kept[f"{key}/follows after us"] < 60
        least = min(kept[f"flash/{name}/{s.name}/filter keeps %"] for s in decks.SHAPES)
        highest = min(kept[f"clipping/{name}/{t:g}x/amplifier V"] for t in (2, 4, 8))
        assert least / 100 * highest > build.reference_v


@each_build
def test_noise_formulas_and_simulator_agree(build: c.Build) -> None:
    """The design's closed form of the noise is the simulator's within 4 %, dark and at half of full scale."""
    kept = run.load()[build.name]
    for a in build.ranges:
        for level, part in (("dark", 0.0), ("half", 0.5)):
            formula = c.noise_v(build, a, part * c.full_scale_lx(build, a))
            assert kept[f"noise/{a.name}/{level} uV"] == pytest.approx(1e6 * formula, rel=0.04)


def test_a_real_reference_keeps_the_supply_out() -> None:
    """0.1 V of slow ripple moves half of full scale by 1 % where the supply is the reference, by less than 0.01 % with a shunt
    reference."""
    kept = run.load()
    for name in RANGES:
        assert kept["b"][f"supply/{name}/100 Hz/half steps"] / 1024 == pytest.approx(0.0098, rel=0.1)
        assert kept["d"][f"supply/{name}/100 Hz/half steps"] / 4096 < 1e-4
