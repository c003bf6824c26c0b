"""The platform's own file chooser: a program of the desktop on Linux, the system's document picker on Android, plyer's elsewhere.

Choosing takes as long as a person likes: never on the thread that keeps pops.  On Android there is no path: the picker grants one
document, whose bytes are copied into the app's cache (tested against a stand-in of the platform; never run on a phone).
"""

from __future__ import annotations

import asyncio
import os
import shutil
import sys
from pathlib import Path
from typing import Any

from meterlink.errors import ImportRefused
from mobile.permissions import on_android
from mobile.texts import t

CHOOSERS = {"zenity": ("--file-selection",), "kdialog": ("--getopenfilename",), "yad": ("--file",)}
"""Programs that show a file chooser on a Linux desktop, and how each is asked for one file."""
REQUEST_CODE = 0x6D6C
"""Tells the picker's answer from that of other activities; any number below 65 536 that nothing else here uses."""
READ_ONLY = "r"


async def chosen_file() -> Path | None:
    """Ask for a file; None when nothing was chosen.

    Raises LookupError where the platform has no chooser, ImportRefused when the chosen document cannot be read.
    """
    if on_android():
        return await from_android()
    return await (from_linux() if sys.platform == "linux" else asyncio.to_thread(from_plyer))


async def from_linux() -> Path | None:
    """Run the desktop's chooser.  A name is bytes and need not be UTF-8."""
    program = next((found for name in CHOOSERS if (found := shutil.which(name))), None)
    if program is None:
        raise LookupError("no chooser")
    process = await asyncio.create_subprocess_exec(program, *CHOOSERS[Path(program).name], stdout=asyncio.subprocess.PIPE)
    try:
        name = (await process.communicate())[0].removesuffix(b"\n")
    finally:
        if process.returncode is None:  # the app ends while the person still chooses
            process.kill()
    # Cancelled and failed look alike: an exit code and no name.
    return Path(os.fsdecode(name)) if name and process.returncode == 0 else None


def from_plyer() -> Path | None:
    """Ask the chooser of Windows or macOS."""
    from plyer import filechooser

    try:
        chosen = filechooser.open_file()
    except Exception as error:  # whatever the platform's own parts raise: a path can still be typed
        raise LookupError("no chooser") from error
    return Path(chosen[0]) if chosen else None


async def from_android(activity: Any = None, context: Any = None, autoclass: Any = None) -> Path | None:
    """Start the system's document picker and wait for its answer; the arguments are the platform's, for tests."""
    if activity is None:
        from android import activity, mActivity  # type: ignore[import-not-found,no-redef]
        from jnius import autoclass  # type: ignore[import-not-found,no-redef]

        context = mActivity
    activity_class, intent_class = autoclass("android.app.Activity"), autoclass("android.content.Intent")
    loop = asyncio.get_running_loop()
    answered: asyncio.Future[Any] = loop.create_future()

    def settle(uri: Any) -> None:
        if not answered.done():
            answered.set_result(uri)

    def answer(request_code: int, result_code: int, data: Any) -> None:
        # Comes on Android's own thread, for every activity that ends.
        if request_code == REQUEST_CODE:
            uri = data.getData() if result_code == activity_class.RESULT_OK and data is not None else None
            loop.call_soon_threadsafe(settle, uri)

    intent = intent_class(intent_class.ACTION_OPEN_DOCUMENT)
    intent.addCategory(intent_class.CATEGORY_OPENABLE)
    intent.setType("*/*")
    activity.bind(on_activity_result=answer)
    try:
        _start(context, intent)
        uri = await answered
    finally:
        activity.unbind(on_activity_result=answer)
    return None if uri is None else await asyncio.to_thread(_copied, context, uri)


def _start(context: Any, intent: Any) -> None:
    try:
        context.startActivityForResult(intent, REQUEST_CODE)
    except Exception as error:  # the bridge raises Java's own: no activity takes it
        raise LookupError("no chooser") from error


def _copied(context: Any, uri: Any) -> Path:
    """Copy a document into the cache: what it is called elsewhere says nothing, its content says what it is."""
    copy = Path(context.getCacheDir().getPath()) / "document"
    try:
        descriptor = context.getContentResolver().openFileDescriptor(uri, READ_ONLY).detachFd()
        with os.fdopen(descriptor, "rb") as document, copy.open("wb") as file:
            shutil.copyfileobj(document, file)
    except Exception as error:
        raise ImportRefused(t("library.unreadable")) from error
    return copy
