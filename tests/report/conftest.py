"""Sets for the sheet: an ordinary one, twelve lights, texts from somebody who means harm; and a real browser."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from sheets import DETAILS, HOSTILE, ROLES, TURNED, Browser, make_set

from meterlink.library.store import Library
from meterlink.metering.session import Session


@pytest.fixture
def five(library: Library) -> Session:
    """Five lights."""
    names = ("Potter at the wheel", *map(str.upper, ROLES))
    return make_set(library, 5, lambda i: names[i + 1], subject="potter", notes="two\nlines")


@pytest.fixture
def twelve(library: Library) -> Session:
    """Twelve lights with names of ordinary length."""
    return make_set(library, 12, lambda i: "Twelve heads" if i < 0 else f"LIGHT {i + 1}")


@pytest.fixture
def hostile(library: Library) -> Session:
    """Every text that may come from outside is an attempt."""
    text = HOSTILE
    return make_set(
        library, 6, lambda i: text[max(i, 0)], subject=text[0], notes="\n".join([*text, TURNED]), tags=text[:3],
        details={
            **DETAILS, "mark": text[1], "backdrop": text[2], "aperture": text[3], text[0]: text[1], "framing": "y" * 3000,
            "reference_picture": "data:text/html,<script>alert(1)</script>", "reference_photo": "//host/share/x.jpg",
            "face_height_m": "tall", "camera_distance_m": -3, "backdrop_distance_m": 1e300,
        },
    )  # fmt: skip


@pytest.fixture
def browser(tmp_path: Path) -> Browser:
    """A real browser; skipped, with the reason, where there is none."""
    program = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if program is None or shutil.which("pdfinfo") is None:
        pytest.skip("needs the Debian packages chromium and poppler-utils")
    return Browser(program, tmp_path)
