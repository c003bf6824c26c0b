"""The blind suite at length: 60 sets a world through the command line, from bytes of our own to the table, against the truth.

``python -m benchmarks blind``, or with other seeds ``python benchmarks/bench_blind.py --seed 7 --sets 60``.  Nothing of the
package but its command line takes part: optics, pulses and bytes are ``tests/blind``'s.  "median" and "95 %" are errors of the
stops from the key; shares stand with their 95 % interval.  "caught": a frontal light within a stop of the key, held off
10-40 cm without a word, by more than a third of a stop.  "said": the pop of all lights is declared touching, and is.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.blind.drive import Seen, run_set
from tests.blind.studio import REACHES, WORLDS
from tests.blind.summary import HEAD, line


def sets_of(seed: int, count: int, folder: Path, world: str, reach: str, **how: bool | str) -> list[Seen]:
    """So many sets of one kind, in libraries of ten sets each."""
    rng = np.random.default_rng([seed, WORLDS.index(world), *map(ord, reach + repr(sorted(how.items())))])
    seen = []
    for start in range(0, count, 10):
        with tempfile.TemporaryDirectory(dir=folder) as one:
            for _ in range(start, min(start + 10, count)):
                seen.append(run_set(rng, Path(one), world, reach, **how))  # noqa: PERF401
    return seen


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    start = time.perf_counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        print(HEAD)
        for world in WORLDS:
            for receptor in ("dome", "flat"):
                seen = sets_of(args.seed, args.sets, folder, world, "touching", receptor=receptor, declared=True)
                print(line(f"{world}, {receptor}, declared", seen), flush=True)
            for reach in REACHES:
                for said in (True, False):
                    seen = sets_of(args.seed, args.sets, folder, world, reach, said=said)
                    seen += sets_of(args.seed, args.sets, folder, world, reach, said=said, misplace=True)
                    print(line(f"{world}, {reach}{', said' if said else ''}", seen), flush=True)
            seen = sets_of(args.seed, args.sets, folder, world, "touching", receptor="flat")
            print(line(f"{world}, touching, flat, said", seen), flush=True)
    print(f"({time.perf_counter() - start:.0f} s)")


if __name__ == "__main__":
    main()
