"""What tests of several folders share: a fresh library with a small set, measurements to feed it, and a count of faults."""

from __future__ import annotations

import dataclasses
import gc
import math
import os
import shutil
import signal
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from time import monotonic, sleep

import pytest
from hypothesis import settings
from tallies import KEY, Table, Tally

from meterlink.library.store import Library
from meterlink.metering.session import Session
from meterlink.records import Calibration, Light, Measurement, Placement, RangeScale, Setup, new_id
from meterlink.words.language import Place, use

# Tests read English wherever they run, in processes that they start too; those about languages choose their own.
os.environ["METERLINK_LANGUAGE"] = "en"
# The hundreds of processes that they start load the package compiled, as one that is installed, wherever that is switched off,
# and so do the workers of a run the tests.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

MEMORY = Path("/dev/shm")
if "TMPDIR" not in os.environ and MEMORY.is_dir() and os.access(MEMORY, os.W_OK):
    # Libraries are written, synced and removed a thousand times: in memory, where there is plenty and programs may run.
    room = os.statvfs(MEMORY)
    if room.f_bavail * room.f_frsize > 4e9 and not room.f_flag & os.ST_NOEXEC:
        tempfile.tempdir = os.environ["TMPDIR"] = str(MEMORY)

# A busy machine stands still for a third of a second; what hangs meets pytest's own limit.
settings.register_profile("tests", deadline=None)
settings.load_profile("tests")

SENSOR = "5e4501"
CONSTANT = 330.0


GRACE_S = 20.0
"""From a test's limit, where it fails, until the processes that it may still wait for in its cleaning up are ended."""


def end_children() -> None:
    """Kill every process that this one started and that still runs, and theirs."""
    if not Path("/proc/self/task").is_dir():
        return
    waiting, found = [os.getpid()], []
    while waiting:
        for listed in Path(f"/proc/{waiting.pop()}/task").glob("*/children"):
            with suppress(OSError):
                more = [int(one) for one in listed.read_text().split()]
                waiting += more
                found += more
    for pid in found:
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)


class Watch(threading.Thread):
    """Ends what a test waits for if it goes on after its own limit; one thread for all tests, looking once a second."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.end_s = math.inf

    def run(self) -> None:
        """Look for ever."""
        while True:
            sleep(1.0)
            if monotonic() > self.end_s:
                self.end_s = math.inf
                end_children()


WATCH = Watch()


@pytest.fixture(autouse=True)
def _own_language() -> Iterator[None]:
    """A language that a test chose is forgotten after it."""
    yield
    use(None, Place.TERMINAL)


HOME = Path(tempfile.mkdtemp(prefix="meterlink-tests-home-"))
"""Of this run: Kivy, browsers and the product itself leave nothing in the home folder of whoever runs the tests."""


def pytest_configure(config: pytest.Config) -> None:
    """One table of the fault tests at the end of a run, and a home folder that goes with it."""
    config.pluginmanager.register(Table())
    WATCH.start()
    for name in [one for one in os.environ if one.startswith("XDG_") and one.endswith("_HOME")]:
        del os.environ[name]
    os.environ.update(HOME=str(HOME), KIVY_HOME=str(HOME / "kivy"))


SLOW = (
    "test_faults", "test_flash_cut_off", "test_flows", "test_layout", "test_live_verify", "test_screens_other", "test_taps",
    "test_document_fuzz", "test_matrix", "test_physics_to_table", "test_screens_metering", "test_blind", "test_keyboard",
    "test_flash_model", "test_kill_whole", "test_sensors", "test_page", "test_hot_spots_to_table", "test_motion", "test_saturation",
    "test_any_order_touched", "test_spice", "test_swapped", "test_live_calibrate", "test_app_real_links", "test_soak_short",
)  # fmt: skip
"""Files that take long, the longest first, those that wait between those that work: begun last they would keep one worker
busy while the others have nothing left."""


REAL_TIME = (
    "touch/test_", "bluetooth/test_ble_soak", "mobile/test_app_real_links", "cli/test_key", "link/test_serial_port",
    "test_physics_to_table",
)  # fmt: skip
"""Windows, radios and terminals of their own that share a busy machine with all others: asked once more before they have failed.
So is the physics of a chip whose noise falls as its time is turned: one figure of some 8,000, in 45 runs, was 0.1003 stop off.

The first answer is printed too, with its traceback: a fault that comes now and then is seen there.  At most three in a run.
"""


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector: pytest.Collector) -> Iterator[pytest.CollectReport]:
    """Begin each worker's collection in another folder: each compiles a part of a fresh tree and reads the rest from the others."""
    report: pytest.CollectReport = yield
    if collector.path == Path(__file__).parent and report.result:
        worker, workers = os.environ.get("PYTEST_XDIST_WORKER", "gw0"), os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1")
        first = len(report.result) * int(worker.removeprefix("gw")) // int(workers)
        report.result = report.result[first:] + report.result[:first]
    return report


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin the slow files first; give what runs in real time a second chance."""
    for item in items:
        if any(one in item.nodeid for one in REAL_TIME):
            item.add_marker(pytest.mark.flaky(reruns=1))
    places = {name: place for place, name in enumerate(SLOW)}
    items.sort(key=lambda one: (places.get(one.path.stem, len(SLOW)), one.path))


def pytest_collection_finish() -> None:
    """Spare the collector of garbage the thousands of tests that stay for the whole run: it went through them again and again."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 10, 10)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    """End what a test waits for if it goes on after its own limit: a process that never ends would hold the whole run."""
    marked = item.get_closest_marker("timeout")
    limit_s = float(marked.args[0] if marked else item.config.getini("timeout"))
    WATCH.end_s = monotonic() + limit_s + GRACE_S
    try:
        return (yield)
    finally:
        WATCH.end_s = math.inf


def pytest_unconfigure() -> None:
    """Remove the home folder of this run."""
    shutil.rmtree(HOME, ignore_errors=True)


@pytest.fixture
def tally(request: pytest.FixtureRequest) -> Iterator[Tally]:
    """Count of one fault test: it fills it in as it goes."""
    counted = Tally(request.node.name)
    yield counted
    request.node.user_properties.append((KEY, dataclasses.asdict(counted)))
    assert (counted.lost, counted.doubled, counted.tracebacks) == (0, 0, 0)


@pytest.fixture
def library(tmp_path: Path) -> Iterator[Library]:
    """A fresh library file."""
    with Library.open(tmp_path / "library.sqlite") as opened:
        yield opened


@pytest.fixture
def calibration(library: Library) -> Calibration:
    """A calibrated dome sensor, known to the library."""
    ranges = (RangeScale(2e6), RangeScale(2e5))
    record = Calibration(new_id(), SENSOR, 0.0, CONSTANT, ranges=ranges, u_scale_rel=0.05, method="reference")
    library.add_calibration(record)
    return record


@pytest.fixture
def session(library: Library, calibration: Calibration) -> Session:
    """A session on a set of three lights: a key, a fill and a hair light, all placed and none metered."""
    setup = Setup(new_id(), "Potter", 0.0, iso=100.0, shutter_s=1 / 128)
    library.add_setup(setup)
    library.use_setup(setup.id)
    opened = Session(library, now=lambda: 1_000.0)
    for order, (name, role, point, width, distance, azimuth, elevation) in enumerate(
        (
            ("KEY", "key", "face", 0.9, 1.2, 40.0, 30.0),
            ("FILL", "fill", "face", 0.6, 1.5, -50.0, 0.0),
            ("HAIR", "hair", "hair", 0.2, 1.0, 170.0, 50.0),
        )
    ):
        light = Light(new_id(), setup.id, name, role, point, order)
        placement = Placement(
            new_id(), light.id, 0.0, "disk", width, None, distance, 0.02, azimuth, elevation,
            power_text="1/4", power_stops=-2.0,
        )  # fmt: skip
        opened.add_light(light, placement)
    return opened


@pytest.fixture
def pop(calibration: Calibration) -> Callable[..., Measurement]:
    """Make measurements of a flash, two seconds after each other unless said otherwise."""
    clock = iter(range(10, 100_000, 2))

    def make(exposure_lxs: float, **changes: object) -> Measurement:
        m = Measurement(
            "flash", float(next(clock)), SENSOR, calibration.id, exposure_lxs=exposure_lxs, u_rel=0.005,
            peak_lx=(exposure_lxs or 0.0) * 2000, t05_s=0.0003, t01_s=0.001, ambient_lx=20.0,
        )  # fmt: skip
        return m._replace(**changes)

    return make
