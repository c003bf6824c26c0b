"""The output breaks while metering: the reading is stored, the walk ends, one line says so."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from meterlink.cli.main import main

ENVIRONMENT = {**os.environ, "PYTHONUNBUFFERED": "1"}


class Breaking(io.StringIO):
    """An output that nothing can be written to."""

    def __init__(self, error: OSError) -> None:
        """Keep what every writing raises."""
        super().__init__()
        self.error = error

    def write(self, text: str) -> int:
        """Raise."""
        raise self.error


@pytest.fixture
def metering(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., subprocess.Popen[bytes]]:
    """Begin to meter a key and a fill with the simulated sensor in a process of its own."""
    library = str(tmp_path / "library.sqlite")
    monkeypatch.delenv("METERLINK_SENSOR", raising=False)
    main(["--library", library, "setup", "new", "Potter"])
    main(["--library", library, "light", "add", "KEY", "--role", "key", "--distance", "1.2m", "--power", "1/4"])
    main(["--library", library, "light", "add", "FILL é", "--role", "fill", "--distance", "1.2m", "--power", "1/4"])

    def begin(*words: str, **options: object) -> subprocess.Popen[bytes]:
        arguments = words or ("meter", "KEY", "FILL é", "--sensor", "sim:?every=1")
        environment = {**ENVIRONMENT, **options.pop("env", {})}  # type: ignore[dict-item]
        return subprocess.Popen(
            [sys.executable, "-m", "meterlink", "--library", library, *arguments],
            stdin=subprocess.DEVNULL, stderr=subprocess.PIPE, env=environment, **options,  # type: ignore[call-overload]
        )  # fmt: skip

    return begin


def read_f(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> list[float | None]:
    """What the lights read."""
    capsys.readouterr()
    main(["--library", str(tmp_path / "library.sqlite"), "ratios", "--json"])
    return [row["as_read_f"] for row in json.loads(capsys.readouterr().out)]


def test_a_reader_that_goes_away_ends_the_walk_with_one_line(
    metering: Callable[..., subprocess.Popen[bytes]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The pipe's reader leaves after the first line: the pop that could not be shown is stored, exit code 1, no hang."""
    with metering(stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        while b"waiting for KEY" not in process.stdout.readline():
            pass
        process.stdout.close()
        said = process.stderr.read().decode()

    assert process.returncode == 1
    assert said.count("\n") == 1
    assert "everything that was accepted is in the library" in said
    assert read_f(tmp_path, capsys)[0] is not None


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no /dev/full")
@pytest.mark.parametrize("words", [(), ("ratios",), ("checks",), ("ratios", "--help")], ids=lambda w: " ".join(w) or "meter")
def test_a_full_output_is_one_line_and_no_hang(metering: Callable[..., subprocess.Popen[bytes]], words: tuple[str, ...]) -> None:
    """Nothing can be written: exit code 1 and one line, whatever the verb."""
    with Path("/dev/full").open("wb") as full:
        process = metering(*words, stdout=full, env={"PYTHONUNBUFFERED": ""})
        _, said = process.communicate(timeout=30)

    assert process.returncode == 1
    assert said.decode().count("\n") == 1
    assert b"Traceback" not in said


@pytest.mark.parametrize("words", [["help"], ["--version"], [], ["ratios", "--help"], ["meter", "--help-all"]], ids=str)
def test_help_into_an_output_that_breaks_is_no_traceback(
    words: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The reader of a pipe has gone (``meterlink help | head -1``), or nothing can be written: an exit code, one line at most."""
    for error, code, lines in ((BrokenPipeError(), 0, 0), (OSError(28, "No space left on device"), 1, 1)):
        monkeypatch.setattr(sys, "stdout", Breaking(error))
        assert main(words) == code
        assert capsys.readouterr().err.count("\n") == lines


def test_an_output_that_knows_ascii_only_gets_replacement_characters(
    metering: Callable[..., subprocess.Popen[bytes]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Accents, minus signs and units never raise: the whole walk and its table come out."""
    process = metering(stdout=subprocess.PIPE, env={"PYTHONIOENCODING": "ascii:strict"})
    out, said = process.communicate(timeout=40)

    assert process.returncode == 0, said
    assert b"FILL ?" in out
    assert all(read_f(tmp_path, capsys))
