"""What can be tested of the Android package without Android: permissions, the packed tree, the spec."""

from __future__ import annotations

import asyncio
import configparser
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from threading import Thread
from types import SimpleNamespace
from typing import Any

import pytest

import mobile
from meterlink.errors import ImportRefused, LinkError
from mobile import file_chooser, permissions
from mobile.android_tree import MAIN, make_tree

APP = Path(mobile.__file__).parent


class Phone:
    """Stands in for ``android.permissions``."""

    def __init__(self, granted: set[str], says: bool = True) -> None:
        self.granted, self.says = granted, says
        self.asked: list[list[str]] = []

    def check_permission(self, name: str) -> bool:
        """Whether it was granted before."""
        return name in self.granted

    def request_permissions(self, names: list[str], answer: permissions.Answer) -> None:
        """Ask, and answer as told."""
        self.asked.append(names)
        answer(names, [self.says] * len(names))


def test_scan_and_connect_are_asked_for_and_nothing_else() -> None:
    """On Android 12 and later both are asked for, once; granted before, nothing is asked."""
    phone = Phone(set())
    asyncio.run(permissions.ask(phone, 34))
    assert phone.asked == [list(permissions.WANTED)]

    known = Phone(set(permissions.WANTED))
    asyncio.run(permissions.ask(known, 34))
    assert known.asked == []


def test_before_android_12_nothing_is_asked_at_run_time() -> None:
    """What the manifest declares is granted at installation there."""
    phone = Phone(set())

    asyncio.run(permissions.ask(phone, 30))

    assert phone.asked == []


def test_a_no_is_one_sentence_that_says_what_to_do() -> None:
    """The search shows it like any other reason why Bluetooth cannot be used."""
    with pytest.raises(LinkError, match="allow it in the phone's settings"):
        asyncio.run(permissions.ask(Phone(set(), says=False), 34))


def test_elsewhere_nothing_is_asked() -> None:
    """On a desktop there is no such question."""
    asyncio.run(permissions.ask())


def test_the_bluetooth_library_s_own_question_for_the_location_never_reaches_the_person() -> None:
    """It is answered with yes; a question for something else is passed on; the filter is put in once."""
    phone = Phone(set())
    scanner = type("Scanner", (), {"request_permissions": staticmethod(phone.request_permissions)})()
    permissions.keep_location_out(scanner)
    once = scanner.request_permissions
    permissions.keep_location_out(scanner)
    answers: list[list[bool]] = []

    scanner.request_permissions(["android.permission.ACCESS_FINE_LOCATION"], lambda _n, got: answers.append(list(got)))
    scanner.request_permissions(["android.permission.CAMERA"], lambda _n, got: answers.append(list(got)))

    assert scanner.request_permissions is once
    assert answers == [[True], [True]]
    assert phone.asked == [["android.permission.CAMERA"]]


def test_the_bluetooth_library_still_asks_where_the_filter_stands() -> None:
    """The module and the name that the filter replaces are in the installed release."""
    import importlib.util

    found = importlib.util.find_spec("bleak")
    assert found is not None
    text = (Path(str(found.origin)).parent / "backends" / "p4android" / "scanner.py").read_text(encoding="utf-8")

    assert "from android.permissions import" in text
    assert "request_permissions(" in text


def test_the_packed_tree_starts_by_its_main(tmp_path: Path) -> None:
    """main.py stands at the root, the packages beside it, and they import from there without the checkout."""
    tree = make_tree(tmp_path / "tree")
    make_tree(tree)

    assert (tree / "main.py").read_text(encoding="utf-8") == MAIN
    assert sorted(p.name for p in tree.iterdir()) == ["main.py", "meterlink", "mobile", "shared"]
    assert list(tree.rglob("*.kv"))
    code = "import meterlink.metering.session, mobile.desk, sys; sys.exit(not mobile.desk.__file__.startswith(sys.argv[1]))"
    done = subprocess.run(
        [sys.executable, "-c", code, str(tree)], cwd=tree, env={**os.environ, "PYTHONPATH": str(tree)}, check=False
    )
    assert done.returncode == 0


def test_a_folder_with_something_else_in_it_is_left_alone(tmp_path: Path) -> None:
    """Nothing of somebody else's is deleted."""
    (tmp_path / "letter.txt").write_text("dear", encoding="utf-8")

    with pytest.raises(FileExistsError, match="something else"):
        make_tree(tmp_path)

    assert (tmp_path / "letter.txt").exists()


def test_the_spec_asks_for_no_location_on_current_androids() -> None:
    """SCAN is declared as never for location; location only up to API 30; the recipe's release is the tested one."""
    spec = configparser.ConfigParser()
    spec.read(APP / "buildozer.spec", encoding="utf-8")
    declared = spec["app"]["android.permissions"]

    assert "(name=android.permission.BLUETOOTH_SCAN;usesPermissionFlags=neverForLocation)" in declared
    assert "BLUETOOTH_CONNECT" in declared
    for one in declared.split(", "):
        if "LOCATION" in one.replace("neverForLocation", ""):
            assert "maxSdkVersion=30" in one
    recipe = (APP / "recipes" / "bleak" / "__init__.py").read_text(encoding="utf-8")
    assert 'version = "3.1.' in recipe


def test_on_a_phone_the_library_is_in_the_app_s_own_storage(monkeypatch: pytest.MonkeyPatch) -> None:
    """Android's private folder; elsewhere the user's data folder decides."""
    pytest.importorskip("kivy", reason="kivy is not installed (pip install '.[app]')")
    from tests.mobile import window

    window.prepare()
    from mobile.main import library_on_phone

    monkeypatch.delenv("ANDROID_PRIVATE", raising=False)
    assert library_on_phone() is None
    monkeypatch.setenv("ANDROID_PRIVATE", "/data/app/files")
    assert library_on_phone() == str(Path("/data/app/files") / "library.sqlite")


class Picker:
    """Stands in for ``android.activity``, the app's activity and Java's classes: one document picker that answers as told."""

    def __init__(self, folder: Path, answer: str = "document", document: bytes = b"{}") -> None:
        self.folder, self.says, self.document = folder, answer, document
        self.bound: list[Callable[..., None]] = []
        self.started: list[tuple[list[str], int]] = []

    def bind(self, on_activity_result: Callable[..., None]) -> None:
        """Hear of every activity that ends."""
        self.bound.append(on_activity_result)

    def unbind(self, on_activity_result: Callable[..., None]) -> None:
        """Hear no more."""
        self.bound.remove(on_activity_result)

    def autoclass(self, name: str) -> Any:
        """Java's classes: an intent that writes down what is done to it; the value of RESULT_OK is Android's (from memory: -1)."""
        if name == "android.app.Activity":
            return SimpleNamespace(RESULT_OK=-1)
        assert name == "android.content.Intent"

        class Intent(list):
            ACTION_OPEN_DOCUMENT = "android.intent.action.OPEN_DOCUMENT"
            CATEGORY_OPENABLE = "android.intent.category.OPENABLE"

            def __init__(self, action: str) -> None:
                super().__init__([action])

            addCategory = setType = list.append  # noqa: N815

        return Intent

    def startActivityForResult(self, intent: list[str], code: int) -> None:  # noqa: N802
        """Open the picker; another activity ends first, then this one, each on a thread of Android's own."""
        if self.says == "no picker":
            raise RuntimeError("android.content.ActivityNotFoundException")
        self.started.append((list(intent), code))
        ok = self.says != "cancelled"
        data = SimpleNamespace(getData=lambda: "content://somewhere/7") if ok else None

        def end() -> None:
            for hear in list(self.bound):
                hear(code + 1, -1, data)
                hear(code, -1 if ok else 0, data)

        Thread(target=end).start()

    def getCacheDir(self) -> Any:  # noqa: N802
        """The app's cache."""
        return SimpleNamespace(getPath=lambda: str(self.folder))

    def getContentResolver(self) -> Any:  # noqa: N802
        """Hands out a document as a descriptor, as Android does, or refuses it."""

        def open_file(uri: str, mode: str) -> Any:
            if self.says == "revoked":
                raise RuntimeError("java.lang.SecurityException: Permission Denial")
            assert (uri, mode) == ("content://somewhere/7", "r")
            reading, writing = os.pipe()
            os.write(writing, self.document)
            os.close(writing)
            return SimpleNamespace(detachFd=lambda: reading)

        return SimpleNamespace(openFileDescriptor=open_file)

    def choose(self) -> Path | None:
        """Choose a file as the app does."""
        return asyncio.run(asyncio.wait_for(file_chooser.from_android(self, self, self.autoclass), 10))


def test_a_document_is_chosen_by_the_system_s_picker_and_copied(tmp_path: Path) -> None:
    """One intent, for one document of any type that can be opened; its bytes come as a file of the app's own."""
    picker = Picker(tmp_path, document=b'{"a": 1}')

    chosen = picker.choose()

    assert chosen is not None
    assert (chosen.parent, chosen.read_bytes()) == (tmp_path, b'{"a": 1}')
    intent = ["android.intent.action.OPEN_DOCUMENT", "android.intent.category.OPENABLE", "*/*"]
    assert picker.started == [(intent, file_chooser.REQUEST_CODE)]
    assert 0 <= file_chooser.REQUEST_CODE < 1 << 16
    assert picker.bound == []


def test_a_picker_that_is_left_gives_nothing(tmp_path: Path) -> None:
    """Back out of the picker: no file, nobody listens any more."""
    picker = Picker(tmp_path, "cancelled")

    assert picker.choose() is None
    assert picker.bound == []


def test_a_document_that_was_taken_away_is_one_sentence(tmp_path: Path) -> None:
    """The grant was revoked, or the cloud does not answer: what to do is said, nothing is left half copied in the library."""
    with pytest.raises(ImportRefused, match="choose one that is kept on this phone"):
        Picker(tmp_path, "revoked").choose()


def test_a_phone_without_a_picker_lets_a_path_be_typed(tmp_path: Path) -> None:
    """No activity takes the intent: the library page opens its field instead."""
    picker = Picker(tmp_path, "no picker")

    with pytest.raises(LookupError):
        picker.choose()
    assert picker.bound == []
