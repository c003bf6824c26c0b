"""What to do, by code: each action is put as a command at a terminal, as what to touch on a phone, in plain words on a page.

``Do("meter", light="KEY")`` is carried by findings, verdicts and errors; it becomes words when it is shown.  A command is the
same in every language and parses with the real argument parsers (``tests/words/test_actions.py`` tries each of them).
"""

from __future__ import annotations

from typing import NamedTuple

from meterlink.words.language import Place, place, say


class Words(NamedTuple):
    """An action for each place.  Places for values as in every template; a light's name is quoted in a command."""

    command: str
    """What to type; empty when no command does it."""
    plain: str
    """In words, for a page and for the voice, and wherever there is nothing to type or touch."""
    touch: str = ""
    """What to touch in the app; empty: the plain words."""


USUAL: dict[str, object] = {
    "port": "PORT", "light": "KEY", "setup": "NAME", "distance": "1.4m", "power": "1/4", "held": "20cm", "shutter": "1/125",
    "lights": ("KEY", "FILL"), "receptor": "flat",
    "action": "change", "backup": "latest", "file": "lowkey.json", "size": "90cm", "option": "disk",
}  # fmt: skip
"""What stands in a place for which no value is known."""

ACTIONS: dict[str, Words] = {
    # set-ups
    "new_setup": Words("meterlink setup new {setup}", "begin a set-up", "touch New set on the Library page"),
    "use_setup": Words("meterlink setup use {setup}", "choose a set-up", "choose one on the Library page"),
    "list_setups": Words("meterlink setup list", "look at the list of set-ups", "the Library page shows them all"),
    "list_archived": Words("meterlink setup list --archived", "look at the archived set-ups"),
    "change_setup": Words("meterlink setup change --help", "say what changed", "change it on the Settings page"),
    "rename_setup": Words("meterlink setup change {setup} --rename NAME", "give one another name"),
    "give_shutter": Words(
        "meterlink setup change --shutter {shutter}",
        "give the shutter time, e.g. {shutter}",
        "give the shutter time on the Settings page, e.g. {shutter}",
    ),
    "set_shutter": Words(
        "meterlink setup change --shutter {shutter}",
        "set the shutter to {shutter}",
        "set the shutter to {shutter}, and say so on the Settings page",
    ),
    "give_sync": Words("meterlink setup change --sync 1/250", "give the camera's sync speed"),
    "give_curtain": Words(
        "meterlink setup change --curtain-travel 20ms", "give the shutter's readout time (0 for a global shutter)"
    ),
    # lights
    "add_light": Words(
        "meterlink light add KEY --role key --disk 90cm --distance 1m", "add the key light first", "touch Light on the Lights page"
    ),
    "list_lights": Words("meterlink light list", "look at the list of lights", "the Lights page shows them"),
    "light_help": Words("meterlink light {action} --help", "say what changed"),
    "rename_light": Words("meterlink light change {light} --rename NAME", "give one another name"),
    "bring_light_back": Words("meterlink light remove {light} --back", "bring {light} back"),
    "move_light": Words("meterlink light move {light}", "say where {light} stands", "touch {light} on the Lights page"),
    "give_distance": Words(
        "meterlink light move {light} --distance {distance}",
        "give the distance of {light}",
        "touch {light} on the Lights page and give its distance",
    ),
    "give_direction": Words(
        "meterlink light move {light} --azimuth 40 --elevation 20",
        "give the direction of {light}",
        "touch {light} on the Lights page and give its direction",
    ),
    "give_size": Words(
        "meterlink light move {light} --{option} {size}", "give the size of its source", "give the size on the light's page"
    ),
    "give_power": Words(
        "meterlink light move {light} --power 1/4", "turn its power", "turn its power and say so on the light's page"
    ),
    "gel_off": Words("meterlink light move {light} --gel none", "say that {light} has no gel", "touch {light} on the Lights page"),
    "power_as_metered": Words(
        "meterlink light move {light} --power {power} --as-metered",
        "say where its dial stands: {power}",
        "say where its dial stands on the light's page: {power}",
    ),
    "give_role": Words(
        "meterlink light change {light} --role key", "make {light} the key", "touch {light} on the Lights page and make it the key"
    ),
    "name_head": Words(
        "meterlink light change {light} --fixture 'head A' --modifier 'octa 90'",
        "give head and modifier of {light} a name",
        "name head and modifier under More on the light's page",
    ),
    "name_modifier": Words(
        "meterlink light change {light} --modifier 'octa 90'",
        "give the modifier of {light} a name",
        "name the modifier under More on the light's page",
    ),
    # metering
    "meter": Words("meterlink meter {light}", "meter {light}", "touch Meter it on the page of {light}"),
    "meter_steady": Words("meterlink meter {light} --steady", "take its steady light"),
    "meter_lights": Words("meterlink meter {lights}", "meter the lights", "touch Meter all"),
    "meter_all": Words("meterlink meter --all", "meter every light", "touch Meter all"),
    "meter_together": Words(
        "meterlink meter --together", "meter all lights of the face together", "touch All together on the Set page"
    ),
    "meter_some_together": Words(
        "meterlink meter --together {lights}", "meter these together", "touch All together on the Set page"
    ),
    "meter_room": Words("meterlink meter --room", "meter the room light"),
    "meter_room_lamps": Words(
        "meterlink meter --room --lamps on", "meter the room light with the modelling lamps on, then with them off"
    ),
    "say_held": Words("meterlink held {light} {held}", "say how far the dome was held off", "move the slider under the last pop"),
    "undo": Words("meterlink undo", "take the last reading back", "touch Take back"),
    "undo_in_walk": Words("", "type u", "touch Take back"),
    "ratios": Words("meterlink ratios", "look at the table", "see the Set page"),
    "checks": Words("meterlink checks", "see the findings", "see the findings on the Set page"),
    "colour_plot": Words("meterlink colour {light} --picture drift.png", "look at its colour over its power"),
    "falloff": Words("meterlink falloff {light} --at 0.8m 1.2m 1.8m", "measure its falloff at three distances"),
    "watch_wave": Words("meterlink watch --wave", "watch a pop with its waveform"),
    "targets": Words("meterlink targets KEY=f/8 FILL=-1", "say what each light should give"),
    "targets_set": Words("meterlink targets --set", "say that the lights are set as told"),
    "match": Words("meterlink match {setup}", "meter and match", "see the Match page"),
    "match_here": Words("meterlink match {setup} --here", "meter and match", "see the Match page"),
    "match_set": Words("meterlink match {setup} --set", "say that it is set", "touch Did it on the Match page"),
    "demo": Words("meterlink demo", "try the demo set", "touch Open the demo set"),
    "help": Words("meterlink --help", "see the list of verbs"),
    # sensors
    "sensors": Words("meterlink sensors", "look which sensors there are", "see the Sensors page"),
    "sensors_try": Words("meterlink sensors --try {port}", "listen closer to it"),
    "simulated": Words("meterlink meter {light} --sensor sim:", "take the simulated one", "touch Use the simulated sensor"),
    "calibrate": Words("meterlink calibrate", "calibrate the sensor"),
    "calibrate_receptor": Words(
        "meterlink calibrate --receptor {receptor}", "calibrate the sensor with the {receptor} receptor too"
    ),
    "calibrate_angle": Words("meterlink calibrate angle", "test the sensor's response to light from the side"),
    "calibrate_spectral": Words("meterlink calibrate spectral diode.csv", "give its spectral response"),
    "verify": Words("meterlink verify", "test the sensor (ten minutes)"),
    # the library
    "check_file": Words("meterlink store check --library {file}", "check that file"),
    "store_check": Words("meterlink store check", "check the library"),
    "store_backups": Words("meterlink store backups", "look at the list of backups"),
    "store_restore": Words("meterlink store restore {backup}", "bring an earlier copy of the library back"),
    "store_restore_latest": Words("meterlink store restore latest", "put the last backup in its place"),
    "merge": Words("meterlink merge LIBRARY", "exchange it as a library file"),
    "import": Words("meterlink import {file}", "give a file", "touch Import on the Library page"),
}
"""Every action by its code."""

class Do:
    """One action with its values, put for the place that the sentence around it is made for."""

    def __init__(self, code: str, /, **values: object) -> None:
        assert code in ACTIONS, code
        self.code = code
        self.values = {name: value for name, value in values.items() if value is not None}

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Do) and (self.code, self.values) == (other.code, other.values)

    def __hash__(self) -> int:
        return hash(self.code)

    def __repr__(self) -> str:
        return f"Do({self.code!r}, {self.values!r})"

    def __str__(self) -> str:
        return self.for_place(place())

    def __format__(self, spec: str) -> str:
        return format(str(self), spec)

    def for_place(self, where: Place) -> str:
        """Return the action as it is put at one place."""
        words = ACTIONS[self.code]
        if where == Place.TERMINAL and words.command:
            return self.command()
        # An empty plain text: what a machine alone may do has no other words than the command.
        text = words.touch if where == Place.PHONE and words.touch else words.plain
        return say(text, **{**USUAL, **self.values})

    def command(self) -> str:
        """Return what to type, whatever the place."""
        values = {name: quoted(value) for name, value in {**USUAL, **self.values}.items()}
        return ACTIONS[self.code].command.format(**values)


def quoted(value: object) -> str:
    """Return a name as it is typed in a shell: in quotes when it has a blank or a sign that means something there; of several,
    each."""
    if isinstance(value, tuple | list):
        return " ".join(quoted(one) for one in value)
    text = str(value)
    if text and all(sign.isalnum() or sign in "+-_./:,=@%" for sign in text):
        return text
    return "'" + text.replace("'", "'\\''") + "'"
