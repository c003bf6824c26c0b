"""python-for-android recipe that pins the Bluetooth library to the release this app is tested with.

The library's own recipe clones the head of its main branch, which changes under one's feet.  Written after reading
python-for-android and that recipe; never run.
"""

import shutil
from pathlib import Path

from pythonforandroid.recipe import PyProjectRecipe


class BleakRecipe(PyProjectRecipe):
    """Release 3.1.0, with its Java callbacks."""

    name = "bleak"
    version = "3.1.0"
    url = "https://github.com/hbldh/bleak/archive/refs/tags/v{version}.tar.gz"
    depends = ["pyjnius"]  # noqa: RUF012 - python-for-android's own convention

    def postbuild_arch(self, arch):
        """Put the Java classes that call back into Python beside the app's own."""
        super().postbuild_arch(arch)
        java = Path(self.get_build_dir(arch.arch)) / "bleak" / "backends" / "p4android" / "java"
        shutil.copytree(java, self.ctx.javaclass_dir, dirs_exist_ok=True)


recipe = BleakRecipe()
