"""A real PostgreSQL for tests: a private cluster on loopback, started as an unprivileged user and thrown away after."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def missing() -> str:
    """Return why no PostgreSQL can be started here, '' when one can."""
    try:
        import psycopg  # noqa: F401
    except ImportError:
        return "the psycopg package is not installed (pip install '.[sync]')"
    if programs() is None:
        return "PostgreSQL's initdb and pg_ctl are not installed (Debian: apt-get install postgresql)"
    if os.name != "posix":
        return "the private PostgreSQL of the tests is started the POSIX way"
    if os.geteuid() == 0 and user() is None:
        return "PostgreSQL does not run as root and there is no user 'postgres' or 'nobody'"
    return ""


def programs() -> Path | None:
    """Return the newest folder that holds initdb and pg_ctl."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]) if p.parts[-3].isdigit() else 0)
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    return Path(on_path).resolve().parent if on_path else None


def user() -> str | None:
    """Return the user to run as when we are root."""
    import pwd

    for name in ("postgres", "nobody"):
        try:
            pwd.getpwnam(name)
        except KeyError:
            continue
        return name
    return None


@contextmanager
def cluster(*, durable: bool = False) -> Iterator[str]:
    """Run a private cluster and yield the URL of its database, without the database's name."""
    bin_folder = programs()
    assert bin_folder is not None
    folder = Path(tempfile.mkdtemp(prefix="meterlink-pg-"))
    who: dict[str, str] = {}
    if os.geteuid() == 0:
        who = {"user": str(user())}
        shutil.chown(folder, user())
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]

    def run(*command: str) -> None:
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, cwd=folder, **who)

    data = str(folder / "data")
    try:
        run(str(bin_folder / "initdb"), "-D", data, "-U", "studio", "-A", "trust", "-E", "UTF8", "--no-sync", "--locale=C")
        options = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync={'on' if durable else 'off'}"
        run(str(bin_folder / "pg_ctl"), "-D", data, "-o", options, "-w", "-l", str(folder / "log"), "start")
        try:
            yield f"postgresql://studio@127.0.0.1:{port}"
        finally:
            run(str(bin_folder / "pg_ctl"), "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
