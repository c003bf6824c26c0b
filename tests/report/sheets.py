"""What tests of the sheet share: sets with any texts, and a real browser."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from meterlink.library.store import Library
from meterlink.metering.session import Session
from meterlink.records import Calibration, Light, Placement, Pop, RangeScale, Reading, Setup, new_id
from meterlink.report.page import sheet_html
from meterlink.report.qr import square_of

HOSTILE = (
    "<script>document.title='gone'</script>",
    "\"><img src=x onerror=\"document.title='gone'\">",
    "</title></style></svg><h1>gone</h1>",
    "'; DROP TABLE light; -- {{ 7 * 7 }} {% raw %}",
    "javascript:alert(1)&lt;b&gt;&#60;i&#62;",
    "a\u0301\u0301\u0301 long name of nothing " + "x" * 60,
)
TURNED = "\u202egnol a dna"
"""Writes from right to left: refused in names, possible in notes."""
ROLES = ("key", "fill", "hair", "rim", "background", "other")
DETAILS = {
    "face_height_m": 1.25, "camera_distance_m": 2.2, "camera_height_m": 1.4, "backdrop_distance_m": 1.6, "backdrop": "grey paper",
    "backdrop_reflectance": 0.18, "focal_length_mm": 85.0, "aperture": "f/8", "mark": "stool on the taped cross",
}  # fmt: skip


def make_set(library: Library, count: int, names: Callable[[int], str], **fields: object) -> Session:
    """A set-up of some lights, all metered."""
    calibration = Calibration(new_id(), "5e4501", 0.0, 330.0, ranges=(RangeScale(2e6),), method="reference")
    library.add_calibration(calibration)
    setup = Setup(new_id(), names(-1), 1.7e9, shutter_s=1 / 128, details=dict(DETAILS))._replace(**fields)
    library.add_setup(setup)
    library.use_setup(setup.id)
    session = Session(library, setup.id)
    for i in range(count):
        role = ROLES[i % len(ROLES)]
        own = role in ("hair", "rim", "background")
        light = Light(
            new_id(), setup.id, names(i), role, role if own else "face", i, fixture=f"head {names(i)}", modifier=f"box {names(i)}"
        )
        place = Placement(
            new_id(), light.id, 1.7e9, "rectangle" if i % 2 else "disk", 0.3 + 0.1 * (i % 5), 0.9 if i % 2 else None,
            1.0 + 0.15 * i, 0.02, -160.0 + 360.0 * i / max(count, 1), -10.0 + 13.0 * (i % 6), power_text="1/8 +0.3",
            power_stops=-2.7, stand_height_m=1.0 + 0.1 * i, gel=names(i) if i % 4 == 1 else "", aimed_at="chin",
        )  # fmt: skip
        session.add_light(light, place)
        exposure = 300.0 * 0.8**i
        reading = Reading(
            new_id(), setup.id, light.id, place.id, calibration.id, "5e4501", 1.7e9 + i, exposure_lxs=exposure, point=light.point,
            held_off_m=0.05 if i % 3 else 0.0, u_rel=0.01, pops=(Pop(exposure, 0.01),), t01_s=0.001, ambient_lx=20.0,
            note=names(i),
        )  # fmt: skip
        library.add_reading(reading)
    return session


def page_of(session: Session) -> str:
    """The sheet as the command line writes it."""
    square, carries = square_of(session.library, session.setup.id)
    found, answers = session.looked_at()
    return sheet_html(session.view(), found, square, carries, answers=answers)


class Browser(NamedTuple):
    """Chromium without a window."""

    program: str
    folder: Path

    def _run(self, *arguments: str) -> str:
        command = [
            self.program, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run",
            "--disable-dev-shm-usage", f"--user-data-dir={self.folder / 'profile'}", *arguments,
        ]  # fmt: skip
        return subprocess.run(command, capture_output=True, text=True, timeout=110, check=True).stdout

    def picture(self, html: str, width: int = 900, height: int = 1700, scale: float = 1.0) -> Path:
        """Return a screenshot of a page."""
        page, target = self.folder / "page.html", self.folder / f"page{width}.png"
        page.write_text(html, encoding="utf-8")
        size = (f"--window-size={width},{height}", f"--force-device-scale-factor={scale}")
        self._run(f"--screenshot={target}", *size, page.as_uri())
        return target

    def pdf(self, html: str, paper: str) -> tuple[Path, int]:
        """Return the page printed on ``A4`` or ``Letter``, and its number of sheets."""
        page, target = self.folder / "page.html", self.folder / f"page-{paper}.pdf"
        page.write_text(html.replace("@page { margin", f"@page {{ size: {paper}; margin"), encoding="utf-8")
        self._run(f"--print-to-pdf={target}", "--no-pdf-header-footer", page.as_uri())
        told = subprocess.run(["pdfinfo", str(target)], capture_output=True, text=True, check=True).stdout
        found = re.search(r"^Pages:\s+(\d+)", told, re.MULTILINE)
        assert found, told
        return target, int(found[1])

    def dom(self, html: str, script: str) -> str:
        """Return the title that a probing script leaves behind, run after the page has loaded (the page itself has none)."""
        page = self.folder / "page.html"
        allowed = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", html)
        page.write_text(allowed + f"<script>addEventListener('load', () => {{ {script} }})</script>", encoding="utf-8")
        found = re.search(r"<title>(.*?)</title>", self._run("--dump-dom", "--virtual-time-budget=2000", page.as_uri()), re.DOTALL)
        assert found
        return found[1]
