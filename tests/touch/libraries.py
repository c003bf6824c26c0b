"""Libraries that a phone starts with."""

from __future__ import annotations

from pathlib import Path

from meterlink.library.store import Library
from meterlink.records import Light, Placement, Setup, new_id
from mobile.desk import Desk

SCRIPTS = {
    "cjk": ("主光", "補光"),
    "hebrew": ("אור", "צל"),
    "arabic": ("ضوء", "خلفية"),
    "emoji": ("🎨", "📷"),
    "mixed": ("KEY 主光", "שלום A7"),
}
"""Two names a script: drawn without a font for it, both would be rows of the same empty boxes."""
MANY = 500


def made_up(path: Path) -> None:
    """A metered set of five lights."""
    from tests.mobile.made_up_set import open_made_up

    desk = Desk(Library.open(path))
    open_made_up(desk)
    desk.close()


def six_lights(path: Path) -> None:
    """A metered set of six lights, and nothing else."""
    from mobile.first_state import begin_set
    from tests.mobile.made_up_set import _calibration, _meter

    desk = Desk(Library.open(path))
    begin_set(desk, 6)
    _meter(desk, _calibration(desk).id)
    desk.close()


def known(path: Path) -> None:
    """Four lights that were metered where they stand, then turned up by a stop: all wait, and what each gives is known.

    HAIR and RIM give nearly the same.
    """
    from meterlink.units import format_power
    from tests.mobile.made_up_set import _calibration, _meter

    desk = Desk(Library.open(path))
    desk.new_set("Set", [("KEY", "key"), ("FILL", "fill"), ("HAIR", "hair"), ("RIM", "rim")])
    for light in desk.shot.lights:
        place = {"shape": "point", "distance_m": 1.6 if light.role == "rim" else 1.5, "azimuth_deg": 40.0}
        desk.move_light(light.id, **place, power_stops=-2.0, power_text=format_power(-2.0))
    desk.begin()
    _meter(desk, _calibration(desk).id)
    for light in desk.shot.lights:
        desk.move_light(light.id, power_stops=-1.0, power_text=format_power(-1.0))
    desk.close()


def german(path: Path) -> None:
    """Nothing yet, and German spoken."""
    desk = Desk(Library.open(path))
    desk.remember(language="de")
    desk.close()


def key_in_doubt(path: Path) -> None:
    """A metered set of five in German whose key was held off by more than half of its distance: it is to be metered again."""
    from tests.mobile.made_up_set import open_made_up

    desk = Desk(Library.open(path))
    open_made_up(desk)
    desk.remember(language="de")
    desk.hold_off(desk.shot.lights[0].id, 0.7)
    desk.close()


def in_every_script(path: Path) -> None:
    """A set whose lights have names in many scripts."""
    desk = Desk(Library.open(path))
    names = [name for pair in SCRIPTS.values() for name in pair]
    desk.new_set("מערכת 1", [(name, "other") for name in names])
    desk.close()


def many_sets(path: Path) -> None:
    """As many sets as a busy studio has in years, each with four lights on its plan."""
    library = Library.open(path)
    with library.db.write():
        for n in range(MANY):
            setup = Setup(new_id(), f"Set {n:03d}", 1e9 + n)
            library.add_setup(setup)
            for order, role in enumerate(("key", "fill", "hair", "background")):
                light = Light(new_id(), setup.id, role.upper(), role, order=order)
                library.add_light(light)
                place = Placement(new_id(), light.id, 1e9 + n, distance_m=1.0 + n % 7 * 0.2, azimuth_deg=40.0 * order - n % 50)
                library.add_placement(place)
    desk = Desk(library)
    desk.use(setup.id)
    desk.close()
