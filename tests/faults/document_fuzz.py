"""Structural damage for exchanged documents, and what the verbs make of each one that is taken.

Run as a program in a process of its own, so that its memory can be measured::

    python tests/faults/document_fuzz.py FOLDER SEED COUNT
    python tests/faults/document_fuzz.py FOLDER edges

It prints one JSON object: how many were taken and refused, and for the worst of them what was done and how much of the
processor's time it took, whatever else the machine does; waiting without end is cut off by an alarm.
"""

from __future__ import annotations

import contextlib
import copy
import functools
import io
import json
import random
import resource
import shutil
import signal
import sqlite3
import sys
import time
import traceback
from pathlib import Path
from typing import Any

import segno

from meterlink.cli.main import main
from meterlink.library import Library, fields
from meterlink.library.export import document, to_json
from meterlink.report import qr

VERBS = (
    ("ratios",), ("checks",), ("sheet", "-o", "OUT.html"), ("export", "-o", "OUT.json", "--replace"),
    ("export", "-o", "OUT.csv", "--ratios", "--replace"), ("light", "list"), ("setup", "show"),
)  # fmt: skip
"""What is asked of a set-up of each document that is taken."""
NUMBERS = (0, -0.0, 1, -1, 1e-300, 1e-9, 0.5, 90.0, 1e3, 1e6, 1e8, 1e15, -1e15, -1e8, 2**53, 1000, 255, -90.0)
TEXTS = ("", " ", "x", "KEY", "face", "=1", "光" * 200, "\u202eabc", "<b>&\"'</b>", "%s{0}", "a\nb", "x" * 5000, "\\", "[red]")
OTHERS = (None, True, False, [], {}, [1], [[0, 1]], {"a": {"a": 1}}, "0" * 32, [0.0, 1e15], [[1e15, -1e15], [0.0, 0.0]])
FALLOFF = {
    "law": "shifted", "parameter_m": 0.1, "u_parameter_m": 0.02, "level_stops": 3.0, "near_m": 0.8, "far_m": 2.4, "low_m": 0.7,
    "high_m": 2.8, "chi2": 1.0, "points": [[0.8, 3.4, 0.02], [1.6, 1.5, 0.02], [2.4, 0.4, 0.02]], "residuals": [0.0, 0.01, -0.01],
    "other_parameter_m": 0.4, "other_weight": 0.2, "receptor": "dome",
}  # fmt: skip


def rich_document(folder: Path) -> dict[str, Any]:
    """The demo's set with its waveforms, and a calibration, notes and details of every kind beside it."""
    path = folder / "source.sqlite"
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        main(["--library", str(path), "demo"])
        main(["--library", str(path), "setup", "new", "Second"])
        main(["--library", str(path), "light", "add", "LAMP", "--role", "key", "--rectangle", "60x90cm", "--distance", "1.4m"])
    with Library.open(path) as library:
        library.add_note("favourite", "head A", {"on": True})
        library.add_note("falloff", "round softbox 90", FALLOFF)
        library.add_note("match_target", "KEY", {"stops": 1.0})
        doc: dict[str, Any] = json.loads(to_json(document(library)))
    doc["waveforms"] = doc["waveforms"][:3]
    for calibration in doc["calibrations"]:
        calibration |= {"colour_matrix": [1.0] * 9, "angle_response": [[0.0, 1.0], [60.0, 0.5]], "temperature_c": 20.0}
    return doc


def mutate(chance: random.Random, doc: dict[str, Any]) -> str:
    """Change one thing of a document, mostly to something that the schema allows; return what was done."""
    part = chance.choice([p for p in fields.DOCUMENT if doc.get(p)])
    number = chance.randrange(len(doc[part]))
    record, table = doc[part][number], fields.DOCUMENT[part]
    where = f"{part}[{number}]"
    way = chance.random()
    if way < 0.05:
        del doc[part][number]
        return f"del {where}"
    if way < 0.10:
        doc[part].append(copy.deepcopy(record))
        return f"twice {where}"
    nested = [name for name, field in table.items() if field.inner and record.get(name)]
    if nested and chance.random() < 0.3:
        name = chance.choice(nested)
        at = chance.randrange(len(record[name]))
        where, table, record = f"{where}.{name}[{at}]", table[name].inner, record[name][at]
    key = chance.choice(list(table))
    if way < 0.15:
        record.pop(key, None)
        return f"del {where}.{key}"
    record[key] = _value(chance, table[key], record.get(key), doc)
    return f"{where}.{key} = {str(record[key])[:60]!r}"


def _value(chance: random.Random, field: fields.Field, old: Any, doc: dict[str, Any]) -> Any:
    if chance.random() < 0.1:
        return chance.choice(OTHERS)
    if field.null and chance.random() < 0.15:
        return None
    if field.kind in ("number", "integer"):
        value = chance.choice((*NUMBERS, *(field.low, field.high) * 4))
        return int(value) if field.kind == "integer" else value
    if field.kind == "choice":
        return chance.choice(field.choices)
    if field.kind == "flag":
        return chance.choice((True, False))
    if field.kind == "id":
        return chance.choice([r["id"] for p in ("setups", "lights", "placements", "readings") for r in doc.get(p, [])])
    if field.kind == "object" and isinstance(old, dict) and old:
        return {**old, chance.choice(list(old)): chance.choice((*NUMBERS, *TEXTS, *OTHERS))}
    if field.kind in ("numbers", "pairs", "segments", "ids", "names", "records") and isinstance(old, list):
        size = chance.choice((0, 1, 2, 50))
        return [_item(chance, old) for _ in range(size)] if old else chance.choice(OTHERS)
    return chance.choice(TEXTS)


def _item(chance: random.Random, old: list[Any]) -> Any:
    item = copy.deepcopy(chance.choice(old))
    if isinstance(item, list):
        return [chance.choice(NUMBERS) if chance.random() < 0.5 else one for one in item]
    return chance.choice(NUMBERS) if isinstance(item, int | float) and chance.random() < 0.5 else item


def ask(arguments: list[str]) -> str:
    """Run a verb in this process; return the traceback that it gave, '' for none."""
    limit(8, 1500)
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        try:
            main(arguments)
        except Exception:
            return traceback.format_exc()
        finally:
            signal.alarm(0)
    return out.getvalue() if "Traceback" in out.getvalue() else ""


def run(folder: Path, seed: int, count: int) -> dict[str, Any]:
    """Import ``count`` damaged documents, each into a library of its own, and use each that is taken.

    A sheet's square is drawn with the first of the eight masks, which are all read alike: to weigh them takes ten times as long.
    """
    segno.make_qr = functools.partial(segno.make_qr, mask=0)
    chance, good = random.Random(seed), rich_document(folder)
    found: dict[str, Any] = {"taken": 0, "refused": 0, "tracebacks": [], "worst_s": 0.0, "worst": ""}
    for number in range(count):
        doc = copy.deepcopy(good)
        what = ", ".join(mutate(chance, doc) for _ in range(chance.choice((1, 1, 1, 2, 4))))
        path = folder / "library.sqlite"
        for old in folder.glob("library.sqlite*"):
            if old.is_file():
                old.unlink()
        (folder / "doc.json").write_text(json.dumps(doc))
        taken = False
        for verb in (("import", str(folder / "doc.json")), *VERBS):
            begun = time.process_time()
            trouble = ask(["--library", str(path), *(word.replace("OUT", str(folder / "out")) for word in verb)])
            took = time.process_time() - begun
            if trouble:
                found["tracebacks"].append(f"{number}: {what}: {verb[0]}: {trouble}")
            if took > found["worst_s"]:
                found["worst_s"], found["worst"] = took, f"{what}: {verb[0]}"
            if verb[0] == "import":
                with contextlib.closing(Library.open(path)) as library:
                    taken = bool(library.setups())
                    if taken:
                        library.use_setup(chance.choice(library.setups(include_archived=True)).id)
                if not taken:
                    break
        found["taken" if taken else "refused"] += 1
    return found


def run_edges(folder: Path) -> dict[str, Any]:
    """Put each number of each table on the edges of its limits, and next to nothing, in every row of the demo's library.

    The sheet is asked for: the ratios, the checks and the drawings are all on it.  Its square is packed and not drawn.
    """
    qr.square_svg = lambda _text: "<svg/>"
    found: dict[str, Any] = {"taken": 0, "refused": 0, "tracebacks": [], "worst_s": 0.0, "worst": ""}
    path = folder / "edge.sqlite"
    rich_document(folder)
    for table, limits in fields.LIMITS.items():
        for column, low, high in ((name, field.low, field.high) for name, field in limits.items()):
            for value in sorted({low, high, *(v for v in (0.0, 1e-300, -1e-300) if low <= v <= high)}):
                shutil.copy(folder / "source.sqlite", path)
                with contextlib.closing(sqlite3.connect(path)) as connection, contextlib.suppress(sqlite3.IntegrityError):
                    connection.execute(f"UPDATE {table} SET {column} = ?", (value,))
                    connection.execute(
                        "UPDATE memory SET value = (SELECT lower(hex(min(id))) FROM setup) WHERE key = 'current_setup'"
                    )
                    connection.commit()
                    found["taken"] += 1
                begun = time.process_time()
                trouble = ask(["--library", str(path), "sheet", "-o", str(folder / "out.html")])
                took = time.process_time() - begun
                if trouble:
                    found["tracebacks"].append(f"{table}.{column} = {value}: {trouble}")
                if took > found["worst_s"]:
                    found["worst_s"], found["worst"] = took, f"{table}.{column} = {value}"
    return found


def limit(seconds: int, megabytes: int) -> None:
    """Let what never ends, or takes all memory, be an error of this process, not of the machine."""
    resource.setrlimit(resource.RLIMIT_AS, (megabytes << 20, megabytes << 20))
    signal.signal(signal.SIGALRM, _too_long)
    signal.alarm(seconds)


def _too_long(*_: object) -> None:
    raise TimeoutError("this takes too long")


if __name__ == "__main__":
    if sys.argv[2] == "edges":
        result = run_edges(Path(sys.argv[1]))
    else:
        result = run(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
    if Path("/proc/self/status").exists():
        peak = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
        result["worst_mb"] = int(peak.split()[1]) / 1024
    print(json.dumps(result))
