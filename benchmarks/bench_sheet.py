"""The sheet of twelve lights beside a bare Jinja render of a page of the same size.

Goal: the whole page (ratio table, plan, side view, lines, checklist, template) within 10 × of rendering the same template with
everything it shows already at hand.  What the square and the checks cost on top is printed beside it.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "sheet"))

from sheets import make_set

from benchmarks.side_by_side import Goal, print_goals, ratios
from meterlink.library.store import Library
from meterlink.report import page
from meterlink.report.qr import square_of


class Keeper:
    """Stands in for the template once and keeps what it was to show."""

    def __init__(self, template: Any) -> None:
        self.template = template
        self.shown: dict[str, Any] = {}

    def render(self, **shown: Any) -> str:
        """Render and keep."""
        self.shown = shown
        return str(self.template.render(**shown))


def main() -> None:
    """Print name, ratio, goal, ok or short."""
    with tempfile.TemporaryDirectory() as folder, Library.open(Path(folder) / "library.sqlite") as library:
        session = make_set(library, 12, lambda i: "Twelve heads" if i < 0 else f"LIGHT {i + 1}")
        view, findings = session.view(), session.checks()
        square, carries = square_of(library, session.setup.id)
        template = page._template()
        keeper = Keeper(template)
        page._template = lambda: keeper
        whole = page.sheet_html(view, findings, square, carries)
        page._template = lambda: template
        assert template.render(**keeper.shown) == whole
        cases = {
            "bare": lambda: template.render(**keeper.shown),
            "page": lambda: page.sheet_html(view, findings, square, carries),
            "square": lambda: square_of(library, session.setup.id),
            "checks": session.checks,
        }
        found = ratios(cases, 21)
    print(f"  {len(whole)} characters; on top, once: the square {found['square']:.0f} x, the checks {found['checks']:.0f} x")
    if not print_goals("sheet of 12 lights", [Goal("whole page / bare Jinja render of it", found["page"], "<=", 10)]):
        sys.exit(1)


if __name__ == "__main__":
    main()
