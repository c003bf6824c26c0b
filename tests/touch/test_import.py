"""A set from elsewhere, chosen by the platform's own file chooser; only the chooser's program is a stand-in."""

from __future__ import annotations

import os
import time
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
    """Nothing, a failure, a broken file, one that is gone, a name that is no UTF-8 (broken, then whole): each has its answer."""
    p = phone()
    chooser = Chooser(p.folder)
    chooser.install()
    p.tap("count:1")
    p.show("library")

    def choose(path: bytes, code: int = 0) -> str:
        chooser.answers(path, code)
        calls = len(chooser.called)
        p.tap("import")
        p.until(lambda s: len(chooser.called) > calls and not s.said["busy"], "the chooser and what it led to")
        return p.settled().text("finger_note")

    assert (choose(b""), choose(b"", 1), choose(b"", 5)) == ("", "", "")
    assert p.screen().find("import_path") is None
    home = os.fsencode(p.folder)
    broken, gone = p.folder / "broken.json", p.folder / "gone.json"
    broken.write_bytes(document[:-40])
    assert "broken.json" in choose(os.fsencode(broken))
    assert "gone.json" in choose(os.fsencode(gone))
    strange = home + b"/s\xe9t \xff.json "  # Latin-1 of old, with a blank at its end
    Path(os.fsdecode(strange)).write_bytes(b"{")
    assert "s?t ?.json" in choose(strange)
    assert p.screen().any("use:Elsewhere") is None
    Path(os.fsdecode(strange)).write_bytes(document)
    assert choose(strange) == "Imported."
    now = p.until(lambda s: s.find("use:Elsewhere"), "the set in the list")

    assert now.find("use:Set") is not None
    assert set(chooser.called) == {"--file-selection"}


def test_pops_are_taken_while_the_chooser_is_open(phone: Start, document: bytes) -> None:
    """Choosing takes its time: meanwhile a second tap opens no second chooser, and the app keeps what is fired."""
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


def test_the_app_ends_while_the_chooser_is_open(phone: Start) -> None:
    """A window that is closed takes its chooser along: neither stays behind."""
    p = phone()
    chooser = Chooser(p.folder)
    chooser.install()
    (p.folder / "wait").touch()
    p.show("library")
    p.press(*p.reach("import").middle)
    p.until(lambda _s: chooser.called, "the chooser")
    begin_s = time.monotonic()
    p.ask("quit")
    p.process.join(10)

    assert time.monotonic() - begin_s < 8
    assert p.process.exitcode == 0


def test_the_first_set_of_a_new_phone_may_come_from_elsewhere(phone: Start, document: bytes) -> None:
    """Without a set in use, the one that was imported is: its light waits."""
    p = phone()
    chooser = Chooser(p.folder)
    chooser.install()
    (p.folder / "set.json").write_bytes(document)
    chooser.answers(os.fsencode(p.folder / "set.json"))
    p.show("library")
    p.tap("import")
    p.until(lambda s: s.any("use:Elsewhere"), "the set in the list")
    now = p.tap("place:metering")

    assert now.find("next") is None or now.text("next") != "New set"


def test_without_a_chooser_the_path_is_typed(phone: Start, document: bytes) -> None:
    """A machine without any chooser opens a field; what is wrong with a path stands under it, a right one is taken."""
    p = phone()
    p.show("library")
    p.tap("import")
    if p.screen().find("import_path") is None:
        pytest.skip("this machine has a file chooser of its own")
    (p.folder / "set.json").write_bytes(document)
    assert "none.json" in p.type("import_path", str(p.folder / "none.json")).text("import_path:error")
    p.type("import_path", str(p.folder / "set.json"))

    assert p.until(lambda s: s.any("use:Elsewhere"), "the set in the list").find("import_path") is None
