"""False alarms, what is caught and who is named first, with all defaults through the front door, beside an ideal detector.

``python -m benchmarks trust`` prints the tables of ``trust.md``; ``python benchmarks/bench_trust.py --sets 500 --seed 7`` others.
For each world (``tests/blind/studio.py``) and way of holding the dome: clean sets in which any check complains of a reading;
misplacements of a frontal light within a stop of the key by more than a third of a stop, found by one pop of all lights; and how
often the light named first is the one.  "ideal": the likelihood ratio with the true distributions (``trust_ideal_sum.py``) at as
many false alarms; "not told": the same without knowing how far this world's domes reach.  Who is told may have a limit for each
line; who is not has one for both reaches, as the product has, at as many false alarms in both together.  Shares stand with
their 95 % interval.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from typing import NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from benchmarks.trust_ideal_sum import Odds, odds
from benchmarks.trust_studio import draw, fresh_library, front_door
from tests.blind.drive import COSTLY_STOPS
from tests.blind.studio import REACHES, WORLDS
from tests.blind.summary import share

SUM, NOTHING, ALL = "sum declared", "sum undeclared", "all declared"
WAYS = (("touching", SUM), ("touching", NOTHING), ("loose", SUM), ("loose", NOTHING), ("touching", ALL))
"""How domes are held, and what is said of it: the last are the sets of the first, with ``@0cm`` said of each light too."""
LIBRARY_SETS = 200
HEAD = (
    "| world | clean sets alarmed, % | caught, % | ideal | not told | named first, % | ideal | not told |\n"
    "|---|---|---|---|---|---|---|---|"
)


class Looked(NamedTuple):
    """What was found of one set: clean, and with one reading misplaced."""

    alarm: bool
    clean: tuple[Odds, Odds]
    """Of the ideal detectors: told of the reach, and not."""
    wrong: str
    """The misplaced light; empty where the misplacement is none that has to be found."""
    named: str = ""
    """Whom the alarm names in the misplaced set; empty without an alarm."""
    off: tuple[Odds, Odds] | None = None


def looked_at(seed: int, world: str, reach: str, declared: str, sets: int) -> list[Looked]:
    """Look at so many sets, and at each again with one reading misplaced; every set has its own generators."""
    said, every = declared != NOTHING, declared == ALL
    found = []
    for start in range(0, sets, LIBRARY_SETS):
        with fresh_library() as (library, calibration_id):
            for number in range(start, min(start + LIBRARY_SETS, sets)):
                own = [seed, WORLDS.index(world), list(REACHES).index(reach), said, number]
                case = draw(np.random.default_rng(own), world, reach, said)
                clean = front_door(library, calibration_id, case, case.read_lxs, f"clean {number}", said, every)
                one = Looked(bool(clean), odds(np.random.default_rng([*own, 1]), case, case.read_lxs, reach, said), "")
                if case.cost_stops > COSTLY_STOPS and case.level_stops <= 1.0:
                    read = case.misplaced()
                    named = front_door(library, calibration_id, case, read, f"wrong {number}", said, every)
                    off = odds(np.random.default_rng([*own, 2]), case, read, reach, said)
                    one = one._replace(wrong=case.lamps[case.wrong].name, named=(named or [""])[0], off=off)
                found.append(one)
    return found


def alarms_of(seed: int, world: str, reach: str, declared: str, sets: int) -> list[bool]:
    """Whether any check complains of each of so many clean sets, the same ones as ``looked_at`` draws."""
    said, found = declared != NOTHING, []
    for start in range(0, sets, LIBRARY_SETS):
        with fresh_library() as (library, calibration_id):
            for number in range(start, min(start + LIBRARY_SETS, sets)):
                own = [seed, WORLDS.index(world), list(REACHES).index(reach), said, number]
                case = draw(np.random.default_rng(own), world, reach, said)
                found.append(bool(front_door(library, calibration_id, case, case.read_lxs, f"{number}", said, declared == ALL)))
    return found


def limits_of(found: list[Looked], both: list[Looked]) -> tuple[float, float]:
    """Odds above which the ideal detectors alarm as often as the product: told in this line, not told over both reaches."""
    told, untold = (
        float(np.quantile([one.clean[kind].total for one in some], 1 - np.mean([one.alarm for one in some])))
        for kind, some in enumerate((found, both))
    )
    return told, untold


def line(name: str, found: list[Looked], both: list[Looked]) -> str:
    """One line of the table; ``both``: what was found for either reach, this one among them."""
    clean, wrong = [one.alarm for one in found], [one for one in found if one.off is not None]
    caught, first = [bool(one.named) for one in wrong], [one.named == one.wrong for one in wrong if one.named]
    cells: list[list[str]] = [[], []]
    for kind, limit in enumerate(limits_of(found, both)):
        off = [(one.wrong, one.off[kind]) for one in wrong if one.off is not None]
        cells[0].append(f"{100 * np.mean([best.total > limit for _, best in off]):.1f}")
        cells[1].append(f"{100 * np.mean([best.best == name for name, best in off if best.total > limit]):.1f}")
    return (
        f"| {name} | {share(clean)} of {len(clean)} | {share(caught)} of {len(caught)} | {' | '.join(cells[0])} "
        f"| {share(first)} | {' | '.join(cells[1])} |"
    )


def beside(name: str, found: list[Looked]) -> str:
    """How much oftener ours names the right light than each ideal detector in the very sets that ours alarms in, with 95 %."""
    said = []
    for kind, who in enumerate(("told", "not told")):
        both = [(one.named == one.wrong, one.off[kind].best == one.wrong) for one in found if one.off is not None and one.named]
        apart = [float(ours) - float(theirs) for ours, theirs in both]
        said.append(f"{100 * np.mean(apart):+.1f} ± {196 * np.std(apart) / np.sqrt(len(apart)):.1f} points of {who}")
    return f"named first, in the same sets of {name}: {', '.join(said)}"


def print_lines(world: str, found: dict[tuple[str, str], list[Looked]]) -> None:
    """Print the lines of one world, way by way."""
    for (reach, said), some in found.items():
        both = [one for (_, other), more in found.items() if other == said for one in more]
        print(line(f"{world}, {reach}, {said}", some, both), flush=True)


def main() -> None:
    """Print the table, world by world as it comes."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=300)
    parser.add_argument("--seed", type=int, default=211)
    parser.add_argument("--world", choices=WORLDS)
    parser.add_argument("--declared", choices=(SUM, NOTHING, ALL))
    parser.add_argument("--clean", action="store_true", help="false alarms alone, no ideal detector: many sets in little time")
    args = parser.parse_args()
    start = time.perf_counter()
    ways = [way for way in WAYS if args.declared in (None, way[1])]
    if args.clean:
        for world in [args.world] if args.world else WORLDS:
            for reach, declared in ways:
                alarms = alarms_of(args.seed, world, reach, declared, args.sets)
                print(f"{world}, {reach}, {declared}: {share(alarms)} of {len(alarms)} alarmed, %", flush=True)
        return
    print(HEAD)
    together: dict[tuple[str, str], list[Looked]] = {way: [] for way in ways}
    for world in [args.world] if args.world else WORLDS:
        here = {way: looked_at(args.seed, world, *way, args.sets) for way in ways}
        print_lines(world, here)
        for way, found in here.items():
            together[way] += found
    print_lines("all", together)
    for said in (SUM, NOTHING):
        both = [one for (_, other), more in together.items() if other == said for one in more]
        if both:
            print(line(f"all, both reaches, {said}", both, both))
    print()
    for way, found in together.items():
        print(beside(", ".join(way), found))
    print(f"({time.perf_counter() - start:.0f} s, seed {args.seed})")


if __name__ == "__main__":
    main()
