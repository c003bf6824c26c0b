"""Make the tree that is packed for Android: ``python -m mobile.android_tree FOLDER``.

python-for-android runs ``main.py`` at the root of what it packs; the packages stand beside it, without tests, firmware or
benchmarks.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKED = ("meterlink", "mobile", "shared")
LEFT_OUT = ("__pycache__", "*.pyc", "recipes", "pictures", "bin", ".buildozer", "buildozer.spec", "README.md")
MAIN = '''"""Start of the app on Android."""

from mobile.main import main

main([])
'''


def make_tree(folder: Path) -> Path:
    """Write the tree into a folder that is empty, not there yet, or was made by this."""
    mark = folder / "main.py"
    if folder.exists() and any(folder.iterdir()) and not (mark.is_file() and mark.read_text(encoding="utf-8") == MAIN):
        raise FileExistsError(f"{folder} holds something else: choose an empty folder")
    for name in PACKED:
        target = folder / name
        if target.exists():
            shutil.rmtree(target)
        shutil.copytree(ROOT / name, target, ignore=shutil.ignore_patterns(*LEFT_OUT))
    mark.write_text(MAIN, encoding="utf-8")
    return folder


if __name__ == "__main__":
    if len(sys.argv) != 2:
        print("usage: python -m mobile.android_tree FOLDER", file=sys.stderr)
        raise SystemExit(2)
    print(make_tree(Path(sys.argv[1])))
