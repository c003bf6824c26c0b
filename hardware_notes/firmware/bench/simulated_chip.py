"""The real firmware on a simulated chip: light goes in here, bytes come out on a pty that any serial client opens.

::

    with SimulatedChip() as chip:                      # paused: time moves only by chip.step()
        fd = os.open(chip.pty_path, os.O_RDWR | os.O_NOCTTY)
        chip.ambient(500)
        truth_lxs = chip.pop(peak_lx=1.2e6, decay_us=700, rise_us=30)
        chip.step(100)
        os.read(fd, 65536)                             # POP, BLOCK, STEADY ...

The light is in lux at the dome; what voltage it makes is the bench's model of the amplifier: nominal full scales of
2,000,000 lx (range 0, bright) and 200,000 lx (range 1, dim), one pole, and whatever errors ``amplifier`` is told.
In paused mode the same calls give the same bytes in every run.  With ``paused=False`` the chip runs in real time.

It needs the folder ``hardware_notes/firmware`` of a checkout, avr-gcc, simavr and a C compiler, all of which
``why_not`` asks for; nothing of it is used outside simulation.  Needs only the standard library.
"""

from __future__ import annotations

import contextlib
import json
import math
import shutil
import subprocess
import threading
from pathlib import Path
from typing import Any, NamedTuple

from meterlink.errors import LinkLost, LinkNotFound, UsageError
from meterlink.sensor.measuring.calibrate import PEDESTAL_RAW

BRIGHT_FULL_SCALE_LX = 2e6
"""Nominal illuminance at the dome that fills the ADC on range 0."""
DIM_FULL_SCALE_LX = 2e5
"""The same on range 1."""

_FIRMWARE = Path(__file__).resolve().parents[1]
_TOOLS = {
    "make": "make",
    "gcc": "gcc",
    "avr-gcc": "gcc-avr avr-libc",
    "pkg-config": "pkg-config",
}  # fmt: skip
_SIMAVR_HEADER = Path("/usr/include/simavr/sim_avr.h")
_ANSWER_LIMIT_S = 120.0


class ChipStats(NamedTuple):
    """What the bench counted.  The ``isr_`` figures are since the last call."""

    now_ms: float
    bytes_out: int
    bytes_in: int
    bytes_dropped: int
    """Bytes that nobody read in time."""
    conversions: int
    samples_missed: int
    """Conversions whose result was overwritten before the firmware read it: 0, or the firmware is too slow."""
    isr_count: int
    isr_longest_cycles: int
    """Longest sampling interrupt; a conversion takes 208 cycles."""
    isr_mean_cycles: float
    range_pins: int
    """1: the bright feedback is closed, 2: the dim one, anything else is a fault."""
    lux: float


def why_not() -> str | None:
    """What is missing to run the simulated chip, in words with the Debian packages to install; None if nothing is."""
    if not (_FIRMWARE / "Makefile").exists():
        return "the firmware's sources are not here: run from a checkout of the repository"
    missing = [package for tool, package in _TOOLS.items() if shutil.which(tool) is None]
    if not _SIMAVR_HEADER.exists():
        missing.append("libsimavr-dev libelf-dev")
    if missing:
        return f"the simulated chip needs these Debian packages: {' '.join(missing)}"
    return None


def build() -> tuple[Path, Path]:
    """Build firmware and bench if they are older than their sources; returns (elf, bench).

    Several processes may call this at once.  Raises ``LinkNotFound`` when something is missing or does not compile.
    """
    import fcntl

    reason = why_not()
    if reason:
        raise LinkNotFound("no simulated chip: {why}", url="sim:chip", why=reason)
    out = _FIRMWARE / "build"
    out.mkdir(exist_ok=True)
    with (out / ".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        made = subprocess.run(
            ["make", "-s", "-C", str(_FIRMWARE), "firmware", "bench"], capture_output=True, text=True, check=False
        )
    if made.returncode != 0:
        lines = (made.stderr or made.stdout).strip().splitlines() or ["no message"]
        raise LinkNotFound(
            "the simulated chip does not build ({lines}): run make in hardware_notes/firmware",
            url="sim:chip", lines=lines[0],
        )
    return out / "meterlink.elf", out / "bench"


class SimulatedChip:
    """The firmware on a simulated ATmega328P with a light bench in front of it; a context manager.

    Every call but ``stop`` raises ``LinkLost`` when the bench has died and ``UsageError`` when it refuses a value.
    Calls may come from several threads.
    """

    def __init__(
        self,
        *,
        paused: bool = True,
        sensor_id: str = "4d4c000000000001",
        name: str = "bench dome",
        bright_full_scale_lx: float = BRIGHT_FULL_SCALE_LX,
        dim_full_scale_lx: float = DIM_FULL_SCALE_LX,
    ) -> None:
        self.paused = paused
        self.sensor_id = sensor_id
        self.name = name
        self.full_scale_lx = (bright_full_scale_lx, dim_full_scale_lx)
        self.pty_path = ""
        self._bench: subprocess.Popen[str] | None = None
        self._lock = threading.Lock()

    def start(self) -> SimulatedChip:
        """Build what is not built and switch the chip on.  In paused mode it has not run a cycle yet."""
        elf, bench = build()
        command = [str(bench), str(elf), "--id", self.sensor_id, "--name", self.name]
        if self.paused:
            command.append("--paused")
        self._bench = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        first = self._read_line()
        if not first.startswith("pty "):
            self.stop()
            raise LinkNotFound(
                "no simulated chip: {value}: check the arguments",
                url="sim:chip", value=first.removeprefix('error '),
            )
        self.pty_path = first[4:]
        bright, dim = self.full_scale_lx
        self._ask(f"set full_scale_0_lx={bright!r} full_scale_1_lx={dim!r} offset={PEDESTAL_RAW!r}")
        return self

    def stop(self) -> None:
        """Switch it off; harmless when it is off."""
        bench, self._bench = self._bench, None
        if bench is None:
            return
        assert bench.stdin
        assert bench.stdout
        with contextlib.suppress(OSError):
            bench.stdin.close()  # the bench takes the end of its input for quit
        try:
            bench.wait(5)
        except subprocess.TimeoutExpired:
            bench.kill()
            bench.wait()
        bench.stdout.close()

    def __enter__(self) -> SimulatedChip:
        return self.start()

    def __exit__(self, *exception: object) -> None:
        self.stop()

    # ------------------------------------------------------------------------------------------------- light

    def ambient(self, illuminance_lx: float, *, flicker_depth: float = 0.0, flicker_hz: float = 100.0) -> None:
        """Steady light from now on; with a depth it is multiplied by 1 + depth · sin(2πft), as of a lamp on mains."""
        self._ask(f"set ambient_lx={illuminance_lx!r} flicker_depth={flicker_depth!r} flicker_hz={flicker_hz!r}")

    def pop(
        self,
        peak_lx: float,
        *,
        decay_us: float,
        rise_us: float = 0.0,
        cut_us: float = 0.0,
        fall_us: float = 0.0,
        at_ms: float = 0.0,
        count: int = 1,
        period_us: float = 0.0,
    ) -> float:
        """A flash of two exponentials, beginning ``at_ms`` from now; returns its luminous exposure in lx·s.

        E(t) ∝ exp(−t/decay) − exp(−t/rise), scaled to ``peak_lx``; ``rise_us`` 0 rises at once.  With ``cut_us`` it
        is cut off that long after its beginning and falls with the time constant ``fall_us`` (0: at once).  With
        ``count`` above 1 it repeats every ``period_us``: a train; the exposure is that of all.
        """
        words = f"peak_lx={peak_lx!r} decay_us={decay_us!r} rise_us={rise_us!r} cut_us={cut_us!r} fall_us={fall_us!r}"
        self._ask(f"pop exponential {words} at_ms={at_ms!r} count={count} period_us={period_us!r}")
        return count * _exponential_lxs(peak_lx, decay_us * 1e-6, rise_us * 1e-6, cut_us * 1e-6, fall_us * 1e-6)

    def rectangle(
        self,
        peak_lx: float,
        *,
        width_us: float,
        edge_us: float = 0.0,
        at_ms: float = 0.0,
        count: int = 1,
        period_us: float = 0.0,
    ) -> float:
        """A flat-topped flash; ``edge_us`` adds a straight edge on either side.  A negative peak is a lamp going dark.

        Returns the luminous exposure in lx·s (of all, for a train), as ``pop`` does.
        """
        words = f"peak_lx={peak_lx!r} width_us={width_us!r} edge_us={edge_us!r} at_ms={at_ms!r}"
        self._ask(f"pop rectangle {words} count={count} period_us={period_us!r}")
        return count * peak_lx * (width_us + edge_us) * 1e-6

    def gaussian(self, peak_lx: float, *, sigma_us: float, at_ms: float = 0.0, count: int = 1, period_us: float = 0.0) -> float:
        """A flash shaped as a normal curve whose middle is ``at_ms`` from now; returns its exposure in lx·s."""
        words = f"peak_lx={peak_lx!r} width_us={sigma_us!r} at_ms={at_ms!r}"
        self._ask(f"pop gaussian {words} count={count} period_us={period_us!r}")
        return count * peak_lx * sigma_us * 1e-6 * math.sqrt(2 * math.pi)

    def dark(self) -> None:
        """No ambient light, and every pulse under way or to come is forgotten."""
        self._ask("dark")

    def amplifier(self, **settings: float) -> None:
        """Errors of the analogue part, kept until changed; all are 0 at the start but the pole and the offset.

        The offset begins at the 2 % of full scale at which the amplifier of the build notes rests in the dark.

        ``gain_error_0``, ``gain_error_1`` (0.01 reads one per cent high on that range), ``offset`` (dark offset,
        fraction of full scale), ``nonlinearity`` (v + n·v²), ``hum`` (amplitude, fraction of full scale) and
        ``hum_hz``, ``noise`` (standard deviation, fraction of full scale), ``seed`` (whole number, starts the noise
        anew), ``pole_us`` (time constant; 2), ``full_scale_0_lx``, ``full_scale_1_lx``, ``supply_v`` (5; the converter's
        reference is 0.966 of it), ``bandgap_v`` (the chip's own reference; 1.1).
        """
        known = {"gain_error_0", "gain_error_1", "offset", "nonlinearity", "hum", "hum_hz", "noise", "seed", "pole_us"}
        known |= {"full_scale_0_lx", "full_scale_1_lx", "supply_v", "bandgap_v"}
        unknown = sorted(set(settings) - known)
        if unknown:
            raise UsageError(
                "the amplifier has no {unknown}: it has {known}",
                unknown=unknown[0], known=', '.join(sorted(known)),
            )
        self._ask("set " + " ".join(f"{key}={float(value)!r}" for key, value in settings.items()))

    # -------------------------------------------------------------------------------------------------- time

    def step(self, duration_ms: float) -> float:
        """Paused mode: let so many simulated milliseconds pass; returns the time since the chip was switched on.

        Bytes that were written to the pty before the call reach the chip at its beginning.
        """
        return float(self._ask(f"step {duration_ms!r}"))

    def reset(self) -> None:
        """Press the reset button: the chip starts anew, a frame under way is cut in two."""
        self._ask("reset")

    def record_codes(self, path: Path | None) -> None:
        """Write every conversion of the ADC from now on to a file, little-endian u16; None ends it."""
        if path is not None and "\n" in str(path):
            raise UsageError("a path with a line break cannot be passed to the bench: choose another")
        self._ask("record" if path is None else f"record {path}")

    def stats(self) -> ChipStats:
        """What the bench counted so far."""
        numbers: dict[str, Any] = json.loads(self._ask("stats"))
        return ChipStats(**numbers)

    # -------------------------------------------------------------------------------------------------- bench

    def _ask(self, command: str) -> str:
        """Send one command; the answer without its ``ok``."""
        with self._lock:
            bench = self._bench
            if bench is None:
                raise LinkLost("the simulated chip is switched off: start it first", url="sim:chip")
            assert bench.stdin
            try:
                bench.stdin.write(command + "\n")
                bench.stdin.flush()
            except OSError:
                raise LinkLost("the simulated chip has died: start it anew", url="sim:chip") from None
            answer = self._read_line()
        verdict, _, rest = answer.partition(" ")
        if verdict == "ok":
            return rest
        raise UsageError(
            "the bench refused '{command}': {rest}; see hardware_notes/firmware/bench/README.md",
            command=command.split()[0], rest=rest,
        )

    def _read_line(self) -> str:
        assert self._bench
        assert self._bench.stdout
        watchdog = threading.Timer(_ANSWER_LIMIT_S, self._bench.kill)
        watchdog.daemon = True
        watchdog.start()
        try:
            line = self._bench.stdout.readline()
        finally:
            watchdog.cancel()
        if not line:
            raise LinkLost("the simulated chip has died: start it anew", url="sim:chip")
        return line.rstrip("\n")


def _exponential_lxs(peak_lx: float, decay_s: float, rise_s: float, cut_s: float, fall_s: float) -> float:
    """Integral of the bench's exponential pulse, in closed form."""
    top = 1.0
    if rise_s > 0:
        at = rise_s * decay_s / (decay_s - rise_s) * math.log(decay_s / rise_s)
        top = math.exp(-at / decay_s) - math.exp(-at / rise_s)
    scale = peak_lx / top
    if cut_s <= 0:
        return scale * (decay_s - rise_s)
    left_decay, left_rise = math.exp(-cut_s / decay_s), math.exp(-cut_s / rise_s) if rise_s > 0 else 0.0
    until_cut = decay_s * (1 - left_decay) - rise_s * (1 - left_rise)
    return scale * (until_cut + (left_decay - left_rise) * fall_s)
