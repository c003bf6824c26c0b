"""Lines that are typed while something else goes on."""

from __future__ import annotations

import asyncio
import os
from pathlib import Path

import pytest

from meterlink.cli.keys import Lines


@pytest.mark.parametrize("watched", [True, False], ids=["loop", "thread"])
def test_lines_come_one_by_one_and_then_their_end(watched: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two lines in one piece and a cut one arrive whole, by the loop or (as on Windows) by a thread; then no more."""
    read, write = os.pipe()

    async def work() -> list[str | None]:
        loop = asyncio.get_running_loop()
        if not watched:
            def refuse(*_: object) -> None:
                raise NotImplementedError

            monkeypatch.setattr(loop, "add_reader", refuse)
        lines = Lines()
        lines.start()
        os.write(write, b"u\nr FI")
        first = await lines.next()
        os.write(write, "LL é\n20cm".encode())
        os.close(write)
        found = [first, *[await lines.next() for _ in range(3)]]
        lines.stop()
        return found

    with os.fdopen(read) as stdin:
        monkeypatch.setattr("sys.stdin", stdin)
        assert asyncio.run(asyncio.wait_for(work(), 10)) == ["u", "r FILL é", "20cm", None]


def test_a_plain_file_is_not_taken_for_typing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Metering leaves a file alone: its lines would all come before the first pop."""
    path = tmp_path / "lines"
    path.write_text("q\n", encoding="utf-8")

    async def work() -> bool:
        lines = Lines(files=False)
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(lines.next(), 0.2)
        return True

    with path.open(encoding="utf-8") as stdin:
        monkeypatch.setattr("sys.stdin", stdin)
        assert asyncio.run(work())
