"""Whole processes against ``python -c pass``: help, and the ratio table out of a library of a million readings.

Goals: ``--help`` at most 7 x, ``ratios`` piped at most 8 x.  The bytecode cache is used and warmed up once, as it is
on a machine where the command is installed.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

from benchmarks.side_by_side import Goal, print_goals, ratios


def library_of(folder: Path, readings: int) -> Path:
    """Return a library with the demo's metered set in use and ``readings`` readings in other sets."""
    import asyncio
    import contextlib
    import io
    import time

    from benchmarks.bench_library import million
    from meterlink import demo
    from meterlink.cli.demo import _play
    from meterlink.library.store import Library

    path, _ = million(folder, readings)
    with Library.open(path) as library, contextlib.redirect_stdout(io.StringIO()):
        data = demo.script()
        session = demo.build(library, data, time.time)
        asyncio.run(_play(session, data["steps"], pace=False))
    return path


def main(readings: int = 1_000_000, rounds: int = 15) -> None:
    """Print the ratios."""
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}

    def process(*arguments: str) -> object:
        command = [sys.executable, *arguments]
        return lambda: subprocess.run(command, env=environment, stdout=subprocess.PIPE, check=True)

    call = "from meterlink.cli.main import main; raise SystemExit(main({!r}))"
    with tempfile.TemporaryDirectory() as folder:
        path = library_of(Path(folder), readings)
        cases = {
            "python -c pass": process("-c", "pass"),
            "meterlink --help": process("-c", call.format(["--help"])),
            "meterlink ratios": process("-c", call.format(["--library", str(path), "ratios"])),
        }
        for case in cases.values():
            case()
        measured = ratios(cases, rounds)
    print_goals(
        f"start-up, whole processes, library of {readings:,} readings, ratio to python -c pass",
        [
            Goal("meterlink --help", measured["meterlink --help"], "<=", 7.0),
            Goal("meterlink ratios (piped)", measured["meterlink ratios"], "<=", 8.0),
        ],
    )


if __name__ == "__main__":
    main()
