"""``python -m benchmarks [NAME ...]`` runs every benchmark, or those whose file name holds one of the names.

What follows the first word that begins with ``--`` goes to the benchmark itself: ``python -m benchmarks onset --firmware``.
"""

from __future__ import annotations

import importlib
import sys
from pathlib import Path


def main(names: list[str]) -> None:
    """Run the benchmarks one after another."""
    first = next((i for i, word in enumerate(names) if word.startswith("--")), len(names))
    sys.argv[1:] = names[first:]
    names = names[:first]
    there = sorted(Path(__file__).parent.glob("bench_*.py"))
    wanted = [path for path in there if not names or any(name in path.stem for name in names)]
    if not wanted or (not names and sys.argv[1:] in (["-h"], ["--help"])):
        raise SystemExit(f"{__doc__}\n{' '.join(path.stem.removeprefix('bench_') for path in there)}")
    for path in wanted:
        print(f"\n== {path.stem}")
        try:
            importlib.import_module(f"benchmarks.{path.stem}").main()
        except SystemExit as end:
            # A benchmark that falls short says so by its exit code; the others still run.
            if end.code:
                print(f"  {path.stem} ended with {end.code}")


if __name__ == "__main__":
    main(sys.argv[1:])
