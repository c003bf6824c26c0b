"""What can be tested of the Android package without Android: permissions, the packed tree, the spec."""

from __future__ import annotations

import asyncio
import configparser
import os
import subprocess
import sys
from pathlib import Path

import pytest

import mobile
from meterlink.errors import LinkError
from mobile import permissions
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
    pytest.importorskip("kivy", reason="kivy is not installed (pip install 'meterlink[app]')")
    from tests.mobile import window

    window.prepare()
    from mobile.main import library_on_phone

    monkeypatch.delenv("ANDROID_PRIVATE", raising=False)
    assert library_on_phone() is None
    monkeypatch.setenv("ANDROID_PRIVATE", "/data/app/files")
    assert library_on_phone() == str(Path("/data/app/files") / "library.sqlite")
