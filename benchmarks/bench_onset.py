"""Twelve scripted days on set, at the terminal and at the app's desk, beside the same days at commit 784a5c8.

Goals: pops fired at most 1.05 x needed, at most 6 keys to meter a light, no question that need not be, every table right or
saying what is wrong, and a figure within 1.3 x what record, wire and one frame of the screen need (p95).  The sensor is the
chip's model behind a socket, with the record's and the line's real time; on a busy machine the seconds say little.
``python -m benchmarks onset --firmware`` lives the days with the real firmware on its simulated chip instead, over its pty.

``python -m benchmarks.bench_onset --before FOLDER`` counts a checkout of another commit and writes ``onset_784a5c8.json``; what is
kept there was counted so.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from benchmarks.onset_days import DAYS, Day
from benchmarks.onset_desk import day_at_the_desk
from benchmarks.onset_hands_free import day_hands_free
from benchmarks.onset_hands_free_terminal import AtTerminal
from benchmarks.onset_terminal import Counts, Photographer
from meterlink.sensor.measuring.flash import rehearse

HERE = Path(__file__).parent
BEFORE = HERE / "onset_784a5c8.json"
POPS, KEYS, SECONDS = 1.05, 6.0, 1.3
HEADINGS = f"{'day':<32} pops goal then  keys goal  then asks goal then  table"


async def days(root: Path, *, before: bool, at_once: int) -> list[Counts]:
    """Live every day at a terminal; ``at_once`` more than 1 is quicker and makes the seconds worthless."""
    turn = asyncio.Semaphore(at_once)

    async def one(day: Day, folder: Path) -> Counts:
        async with turn:
            return await Photographer(day, root, folder, before=before).live()

    with tempfile.TemporaryDirectory() as folder:
        return list(await asyncio.gather(*(one(day, Path(folder)) for day in DAYS)))


def part(of: list[float], share: float) -> float:
    """Return a percentile; 0 of nothing."""
    ordered = sorted(of)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))] if ordered else 0.0


def p95(counts: list[Counts]) -> float:
    """Return the 95th percentile of flash to figure over what it needs."""
    return part([took / need for one in counts for took, need in one.seconds], 0.95)


def show_seconds(counts: list[Counts], then: str = "") -> None:
    """Print how long a figure takes, over what it needs and in milliseconds."""
    took_ms = [1e3 * took for one in counts for took, _ in one.seconds]
    floor_ms = part([1e3 * need for one in counts for _, need in one.seconds], 0.5)
    print(f"  flash to figure over what record, wire and one frame need: p95 {p95(counts):.2f}, goal <= {SECONDS}{then}")
    print(f"  ({len(took_ms)} figures: p50 {part(took_ms, 0.5):.0f} ms, p95 {part(took_ms, 0.95):.0f} ms; floor {floor_ms:.0f} ms)")
    rested_ms, warm_ms = part([_reading_ms(1.0) for _ in range(7)], 0.5), part([_reading_ms(0.0) for _ in range(7)], 0.5)
    print(f"  (reading a block takes {rested_ms:.0f} ms on this machine after a second's rest, {warm_ms:.0f} ms at once)")


def _reading_ms(rest_s: float) -> float:
    """What a made-up block takes to read after a rest: memory that has rested is slow in some hours of a virtual machine."""
    rehearse()
    time.sleep(rest_s)
    begun_s = time.perf_counter()
    rehearse()
    return 1e3 * (time.perf_counter() - begun_s)


def _own(folder: str, day: Day) -> Path:
    """A day's own folder."""
    own = Path(folder) / f"{DAYS.index(day)}"
    own.mkdir()
    return own


def show(
    title: str, counts: list[Counts], before: list[Counts] | None, *, most_keys: float = KEYS, days: Sequence[Day] = DAYS
) -> bool:
    """Print a line for each day with its goals; return whether all hold."""
    print(f"{title}\n  {HEADINGS}")
    held = True
    for day, one, old in zip(days, counts, before or [None] * len(days), strict=True):
        most = int(POPS * one.needed)
        said = one.table in ("right", "says what is wrong")
        good = one.pops <= most and one.keys_a_light <= most_keys and one.questions <= day.asks and said
        then = (f"{old.pops:>5}", f"{old.keys_a_light:>6.1f}", f"{old.questions:>5}") if old else ("    -", "     -", "    -")
        print(
            f"  {day.name:<32}{one.pops:>5}{most:>5}{then[0]}{one.keys_a_light:>6.1f}{most_keys:>5.0f}{then[1]}"
            f"{one.questions:>5}{day.asks:>5}{then[2]}  {one.table}{'' if good else '   SHORT'}"
        )
        held &= good
    fired, needed = sum(c.pops for c in counts), sum(c.needed for c in counts)
    print(f"  all days: {fired} pops for {needed} needed, {fired / needed:.2f} x, goal {POPS} x", end="")
    print(f" (then {sum(c.pops for c in before) / needed:.2f} x)" if before else "")
    return held and fired <= POPS * needed


def _hands_free() -> bool:
    with tempfile.TemporaryDirectory() as folder:
        counts = [day_hands_free(day, _own(folder, day)) for day in DAYS]
    good = show("range finder, any order, at the app's desk (taps between two pops; simulated time)", counts, None, most_keys=0.0)
    with tempfile.TemporaryDirectory() as folder:
        counts = [day_hands_free(day, _own(folder, day), AtTerminal) for day in DAYS]
    title = "range finder, meter --any at the terminal (keys between two pops; simulated time)"
    return show(title, counts, None, most_keys=0.0) and good


def _with_firmware(names: list[str]) -> bool:
    """The days whose name holds one of the words, all without any, with the real firmware."""
    from benchmarks.onset_firmware import day_at_the_desk as touched_day
    from benchmarks.onset_firmware import day_at_the_terminal

    chosen = [day for day in DAYS if not names or any(name in day.name for name in names)]
    with tempfile.TemporaryDirectory() as folder:
        counts = [asyncio.run(day_at_the_terminal(day, HERE.parent, Path(folder))) for day in chosen]
        good = show("real firmware on the simulated chip, at the terminal", counts, None, days=chosen)
        show_seconds(counts)
        touched = [touched_day(day, _own(folder, day)) for day in chosen]
    return show("real firmware on the simulated chip, at the app's desk (taps)", touched, None, days=chosen) and good


def main() -> None:
    """Count the days, or those of another commit."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--before", type=Path, metavar="FOLDER", help="a checkout of the starting point: count it and keep that")
    parser.add_argument("--hands-free", action="store_true", help="only the days with range finder and any order (a minute)")
    parser.add_argument("--firmware", nargs="*", metavar="DAY", help="the real firmware on the simulated chip (ten minutes)")
    parser.add_argument("--at-once", type=int, default=1)
    args = parser.parse_args()
    if args.before:
        counts = asyncio.run(days(args.before.resolve(), before=True, at_once=args.at_once))
        how = f"python -m benchmarks.bench_onset --before FOLDER --at-once {args.at_once}, FOLDER a checkout of 784a5c8"
        kept = [{"day": day.name, **one._asdict()} for day, one in zip(DAYS, counts, strict=True)]
        BEFORE.write_text(json.dumps({"commit": "784a5c8", "how": how, "days": kept}, indent=1) + "\n")
        return
    if args.firmware is not None:
        raise SystemExit(0 if _with_firmware(args.firmware) else 1)
    if args.hands_free:
        raise SystemExit(0 if _hands_free() else 1)
    stored = json.loads(BEFORE.read_text())["days"] if BEFORE.exists() else []
    by_name = {one.pop("day"): Counts(**one) for one in stored}
    before = [by_name[day.name] for day in DAYS] if by_name.keys() >= {day.name for day in DAYS} else None
    counts = asyncio.run(days(HERE.parent, before=False, at_once=args.at_once))
    good = show("at the terminal", counts, before)
    show_seconds(counts, f", then {p95(before):.2f}" if before else "")
    with tempfile.TemporaryDirectory() as folder:
        touched = [day_at_the_desk(day, Path(folder)) for day in DAYS]
    good &= show("at the app's desk (taps; simulated time)", touched, None)
    good &= _hands_free()
    if not (good and p95(counts) <= SECONDS):
        raise SystemExit(1)


if __name__ == "__main__":
    main()
