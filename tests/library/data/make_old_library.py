"""Write a small library of an older schema as SQL text: run once when a schema is left behind, then never again.

python tests/library/data/make_old_library.py 1 > tests/library/data/schema-1.sql
"""

from __future__ import annotations

import sqlite3
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "library")]

from library_sets import Set, block  # noqa: E402

from meterlink.library import Library, migrations  # noqa: E402


def main() -> None:
    """Fill a library of the asked version through today's code, which knows that version's tables, and dump it."""
    version = int(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "old.sqlite"
        connection = sqlite3.connect(path, isolation_level=None)
        migrations.migrate(connection, str(path), version)
        connection.close()
        migrations.MIGRATIONS, kept = migrations.MIGRATIONS[:version], migrations.MIGRATIONS
        try:
            fill(path)
        finally:
            migrations.MIGRATIONS = kept
        old = sqlite3.connect(path)
        (mark,) = old.execute("PRAGMA application_id").fetchone()
        print("\n".join(old.iterdump()))
        print(f"PRAGMA application_id={mark};\nPRAGMA user_version={version};")


def fill(path: Path) -> None:
    """Store a set with a retake, a void, two pops and a waveform."""
    with Library.open(path) as library:
        one = Set(library, "Old set")
        first = one.add(waveform=block(300))
        one.add(supersedes_id=first.id, exposure_lxs=13.0)
        one.add(one.fill, 6.0, pops=(one.reading().pops[0], one.reading().pops[0]._replace(exposure_lxs=6.1)))
        library.void_reading(one.add().id, "stray pop")
        library.use_setup(one.setup.id)
        library.set_setting("min_gap_s", 1.0)


if __name__ == "__main__":
    main()
