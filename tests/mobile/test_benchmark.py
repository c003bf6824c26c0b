"""The app's benchmark drives the whole app: what moves under it must not leave it waiting for what never comes."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from benchmarks.bench_app import why_not

LIVE = "from benchmarks import bench_app; bench_app.LIVE_S, bench_app.POPS = 0.3, 2; bench_app.run_child('live')"


@pytest.mark.skipif(bool(why_not()), reason=why_not())
def test_the_benchmark_of_the_app_sees_its_pops_on_the_screen() -> None:
    """Two pops of a simulated sensor, each seen within two frames of its answer, beside live light."""
    done = subprocess.run([sys.executable, "-c", LIVE], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr[-2000:]
    figures = json.loads(done.stdout.splitlines()[-1])
    assert 1 <= figures["pop_frames"] <= 2
    assert figures["levels_hz"] > 5.0
