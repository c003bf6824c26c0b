"""A set from elsewhere, chosen by the platform's own file chooser; only the chooser's program is a stand-in."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from meterlink.library.export import write_json
from meterlink.library.store import Library
from tests.touch.hands import Phone

Start = Callable[..., Phone]


class Chooser:
    """A program called ``zenity`` that notes how it was called, waits while a file ``wait`` is there, and answers as told."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def answers(self, name: bytes = b"", code: int = 0) -> None:
        """What it will answer: a file's name as bytes, and how it ends."""
        (self.folder / "answer").write_bytes(name + b"\n" if name else b"")
        (self.folder / "code").write_text(str(code))

    def install(self) -> None:
        """Put it where the app looks for it."""
        program = self.folder / "zenity"
        program.write_text(
            f'#!/bin/sh\ncd {self.folder}\necho "$*" >> called\ni=0\n'
            'while [ -e wait ] && [ $i -lt 200 ]; do i=$((i+1)); sleep 0.1; done\ncat answer\nexit $(cat code)\n'
        )
        program.chmod(0o755)

    @property
    def called(self) -> list[str]:
        """How it was called so far."""
        path = self.folder / "called"
        return path.read_text().splitlines() if path.exists() else []


@pytest.fixture(scope="module")
def document(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """An exported set ``Elsewhere`` of one light."""
    from mobile.desk import Desk

    folder = tmp_path_factory.mktemp("elsewhere")
    desk = Desk(Library.open(folder / "other.db"))
    desk.new_set("Elsewhere", [("KEY", "key")])
    write_json(desk.library, folder / "set.json", [desk.shot.setup.id])
    desk.close()
    return (folder / "set.json").read_bytes()


def test_what_the_chooser_of_the_platform_returns(phone: Start, document: bytes) -> None:
    """No chooser, nothing, a failure, a broken file, one that is gone, a name that is no UTF-8: each has its answer.

    Where there is no chooser the path is typed.  The first set of a new phone is then in use.
    """
    p = phone()
    p.show("library")
    p.tap("import")
    if p.screen().find("import_path") is not None:  # unless this machine has a chooser of its own
        assert "none.json" in p.type("import_path", str(p.folder / "none.json")).text("import_path:error")
        assert p.tap("import").find("import_path") is None
    chooser = Chooser(p.folder)
    chooser.install()

    def choose(path: bytes, code: int = 0) -> str:
        chooser.answers(path, code)
        calls = len(chooser.called)
        p.tap("import")
        p.until(lambda s: len(chooser.called) > calls and not s.said["busy"], "the chooser and what it led to")
        return p.settled().text("finger_note")

    assert (choose(b""), choose(b"", 1), choose(b"", 5)) == ("", "", "")
    assert p.screen().find("import_path") is None
    broken, gone = p.folder / "broken.json", p.folder / "gone.json"
    broken.write_bytes(document[:-40])
    assert "broken.json" in choose(os.fsencode(broken))
    assert "gone.json" in choose(os.fsencode(gone))
    strange = os.fsencode(p.folder) + b"/s\xe9t \xff.json "  # Latin-1 of old, with a blank at its end
    Path(os.fsdecode(strange)).write_bytes(b"{")
    assert "s?t ?.json" in choose(strange)
    assert p.screen().any("use:Elsewhere") is None
    Path(os.fsdecode(strange)).write_bytes(document)
    assert choose(strange) == "Imported."
    p.until(lambda s: s.find("use:Elsewhere"), "the set in the list")
    assert set(chooser.called) == {"--file-selection"}

    assert p.tap("place:metering").any("chip:KEY") is not None


def test_pops_are_taken_while_the_chooser_is_open(phone: Start, document: bytes) -> None:
    """Choosing takes its time: a second tap opens no second chooser, what is fired is kept; a window that closes takes it along."""
    p = phone()
    chooser = Chooser(p.folder)
    chooser.install()
    (p.folder / "set.json").write_bytes(document)
    chooser.answers(os.fsencode(p.folder / "set.json"))
    (p.folder / "wait").touch()
    p.tap("count:1")
    p.show("library")
    press = p.reach("import").middle
    p.press(*press)
    p.until(lambda _s: chooser.called, "the chooser")
    p.press(*press)
    p.ask("fire")
    p.until(lambda s: s.said["readings"] == 1, "the pop is kept")
    assert p.screen().any("use:Elsewhere") is None
    (p.folder / "wait").unlink()
    p.until(lambda s: s.any("use:Elsewhere"), "the set in the list")
    assert len(chooser.called) == 1
    (p.folder / "wait").touch()
    p.press(*press)
    p.until(lambda _s: len(chooser.called) == 2, "the chooser again")
    p.ask("quit")
    p.process.join(8)

    assert p.process.exitcode == 0
