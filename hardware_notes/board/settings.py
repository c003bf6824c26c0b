"""Settings in ``settings.json`` on the board: what is missing, unknown or cannot be is left at its usual value."""

import json

PATH = "settings.json"
NAME_BYTES = 32
BRACKETS = 40  # settings need one; thousands in each other would fill the memory, and what is left might not do to start
# name: (usual value, least, most); booleans and texts have no limits
USUAL = {
    "name": "dome",
    "rate_khz": 250,  # conversions a second / 1000; the radio board's usual 250 leaves its processor half idle
    "input": 0,  # 0: GP26
    "range_pin": 22,  # high: bright range
    "reference_mv": 3000,
    "supply_input": -1,  # 1: GP27, halved from 3V3; -1: not wired
    "battery_input": -1,  # GP28 is 2; -1: none
    "battery_halved": 2,  # the divider's factor
    "battery_empty_mv": 3300,
    "battery_full_mv": 4150,
    "ranger": 0,  # range finder on the dome's back: 0 none, 1 the short family, 2 the long one (ranger.py)
    "ranger_sda": 4,  # GP4; its clock is the next pin
    "bluetooth": True,
}
LIMITS = {
    "rate_khz": (100, 500),
    "input": (0, 2),
    "range_pin": (0, 22),
    "reference_mv": (1000, 3300),
    "supply_input": (-1, 2),
    "battery_input": (-1, 2),
    "battery_halved": (1, 10),
    "battery_empty_mv": (1000, 20000),
    "battery_full_mv": (1000, 20000),
    "ranger": (0, 2),
    "ranger_sda": (0, 20),
}


def _fits(key, value):
    usual = USUAL[key]
    if isinstance(usual, bool) or isinstance(value, bool):
        return isinstance(usual, bool) and isinstance(value, bool)
    if isinstance(usual, str):
        return isinstance(value, str) and 0 < len(value.encode()) <= NAME_BYTES
    if not isinstance(value, int):
        return False
    least, most = LIMITS[key]
    return least <= value <= most


def checked(given):
    """Return (settings, complaints) for what a file gave."""
    settings = dict(USUAL)
    complaints = []
    if not isinstance(given, dict):
        return settings, ["settings.json: not a list of names and values in braces"]
    for key, value in given.items():
        if key not in USUAL:
            complaints.append("settings.json: no setting is called %s" % key)
        elif _fits(key, value):
            settings[key] = value
        else:
            complaints.append("settings.json: %s cannot be %s" % (key, value))
    if settings["battery_empty_mv"] >= settings["battery_full_mv"]:
        complaints.append("settings.json: battery_empty_mv must be below battery_full_mv")
        settings["battery_empty_mv"], settings["battery_full_mv"] = USUAL["battery_empty_mv"], USUAL["battery_full_mv"]
    return settings, complaints


def load(path=PATH):
    """Return (settings, complaints); a file that is not there is no complaint."""
    try:
        with open(path) as file:
            text = file.read(4096)
    except OSError:
        return dict(USUAL), []
    except UnicodeError:
        return dict(USUAL), ["settings.json: not a text"]
    try:
        if text.count("[") + text.count("{") > BRACKETS:
            raise ValueError
        given = json.loads(text)
    except ValueError:
        return dict(USUAL), ["settings.json: not JSON (a comma or a quotation mark?)"]
    return checked(given)
