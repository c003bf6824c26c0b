"""What to do, by code: each action is put as a command at a terminal, as what to touch on a phone, in plain words on a page.

``Do("meter", light="KEY")`` is carried by findings, verdicts and errors; it becomes words when it is shown.  A command is the
same in every language and parses with the real argument parsers (``tests/words/test_actions.py`` tries each of them).
"""

from __future__ import annotations

from typing import NamedTuple

from meterlink.words.language import Place, marked, place, say


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
    "backup": "latest", "file": "lowkey.json", "size": "90cm", "option": "disk",
}  # fmt: skip
"""What stands in a place for which no value is known."""

ACTIONS: dict[str, Words] = {
    # set-ups
    "new_setup": Words(
        "meterlink setup new {setup}", marked("begin a set-up"), marked("touch New set on the Library page")
    ),
    "use_setup": Words("meterlink setup use {setup}", marked("choose a set-up"), marked("choose one on the Library page")),
    "list_setups": Words(
        "meterlink setup list", marked("look at the list of set-ups"), marked("the Library page shows them all")
    ),
    "list_archived": Words("meterlink setup list --archived", marked("look at the archived set-ups")),
    "change_setup": Words("meterlink setup change --help", marked("say what changed"), marked("change it on the Settings page")),
    "give_shutter": Words(
        "meterlink setup change --shutter {shutter}",
        marked("give the shutter time, e.g. {shutter}"),
        marked("give the shutter time on the Settings page, e.g. {shutter}"),
    ),
    "give_sync": Words("meterlink setup change --sync 1/250", marked("give the camera's sync speed")),
    "give_curtain": Words(
        "meterlink setup change --curtain-travel 20ms", marked("give the shutter's readout time (0 for a global shutter)")
    ),
    # lights
    "add_light": Words(
        "meterlink light add KEY --role key --disk 90cm --distance 1m",
        marked("add the key light first"),
        marked("touch Light on the Lights page"),
    ),
    "list_lights": Words("meterlink light list", marked("look at the list of lights"), marked("the Lights page shows them")),
    "change_light_help": Words("meterlink light change --help", marked("say what changed")),
    "move_light": Words(
        "meterlink light move {light}", marked("say where {light} stands"), marked("touch {light} on the Lights page")
    ),
    "give_distance": Words(
        "meterlink light move {light} --distance {distance}",
        marked("give the distance of {light}"),
        marked("touch {light} on the Lights page and give its distance"),
    ),
    "give_direction": Words(
        "meterlink light move {light} --azimuth 40 --elevation 20",
        marked("give the direction of {light}"),
        marked("touch {light} on the Lights page and give its direction"),
    ),
    "give_size": Words(
        "meterlink light move {light} --{option} {size}",
        marked("give the size of its source"),
        marked("give the size on the light's page"),
    ),
    "give_power": Words(
        "meterlink light move {light} --power 1/4",
        marked("turn its power"),
        marked("turn its power and say so on the light's page"),
    ),
    "gel_off": Words(
        "meterlink light move {light} --gel none",
        marked("say that {light} has no gel"),
        marked("touch {light} on the Lights page"),
    ),
    "power_as_metered": Words(
        "meterlink light move {light} --power {power} --as-metered",
        marked("say where its dial stands: {power}"),
        marked("say where its dial stands on the light's page: {power}"),
    ),
    "give_role": Words(
        "meterlink light change {light} --role key",
        marked("make {light} the key"),
        marked("touch {light} on the Lights page and make it the key"),
    ),
    "name_head": Words(
        "meterlink light change {light} --fixture 'head A' --modifier 'octa 90'",
        marked("give head and modifier of {light} a name"),
        marked("name head and modifier under More on the light's page"),
    ),
    "name_modifier": Words(
        "meterlink light change {light} --modifier 'octa 90'",
        marked("give the modifier of {light} a name"),
        marked("name the modifier under More on the light's page"),
    ),
    # metering
    "meter": Words("meterlink meter {light}", marked("meter {light}"), marked("touch Meter it on the page of {light}")),
    "meter_lights": Words("meterlink meter {lights}", marked("meter the lights"), marked("touch Meter all")),
    "meter_all": Words("meterlink meter --all", marked("meter every light"), marked("touch Meter all")),
    "meter_together": Words(
        "meterlink meter --together",
        marked("meter all lights of the face together"),
        marked("touch All together on the Set page"),
    ),
    "meter_some_together": Words(
        "meterlink meter --together {lights}",
        marked("meter these together"),
        marked("touch All together on the Set page"),
    ),
    "meter_room": Words("meterlink meter --room", marked("meter the room light")),
    "meter_room_lamps": Words(
        "meterlink meter --room --lamps on",
        marked("meter the room light with the modelling lamps on, then with them off"),
    ),
    "say_held": Words(
        "meterlink held {light} {held}",
        marked("say how far the dome was held off"),
        marked("move the slider under the last pop"),
    ),
    "undo": Words("meterlink undo", marked("take the last reading back"), marked("touch Take back")),
    "undo_in_walk": Words("", marked("type u"), marked("touch Take back")),
    "ratios": Words("meterlink ratios", marked("look at the table"), marked("see the Set page")),
    "checks": Words("meterlink checks", marked("see the findings"), marked("see the findings on the Set page")),
    "colour_plot": Words("meterlink colour {light} --picture drift.png", marked("look at its colour over its power")),
    "falloff": Words("meterlink falloff {light} --at 0.8m 1.2m 1.8m", marked("measure its falloff at three distances")),
    "watch_wave": Words("meterlink watch --wave", marked("watch a pop with its waveform")),
    "targets": Words("meterlink targets KEY=f/8 FILL=-1", marked("say what each light should give")),
    "targets_set": Words("meterlink targets --set", marked("say that the lights are set as told")),
    "match": Words("meterlink match {setup}", marked("meter and match"), marked("see the Match page")),
    "match_here": Words("meterlink match {setup} --here", marked("meter and match"), marked("see the Match page")),
    "match_set": Words("meterlink match {setup} --set", marked("say that it is set"), marked("touch Did it on the Match page")),
    "demo": Words("meterlink demo", marked("try the demo set"), marked("touch Open the demo set")),
    "help": Words("meterlink --help", marked("see the list of verbs")),
    # sensors
    "sensors": Words("meterlink sensors", marked("look which sensors there are"), marked("see the Sensors page")),
    "sensors_try": Words("meterlink sensors --try {port}", marked("listen closer to it")),
    "simulated": Words(
        "meterlink meter {light} --sensor sim:", marked("take the simulated one"), marked("touch Use the simulated sensor")
    ),
    "calibrate": Words("meterlink calibrate", marked("calibrate the sensor")),
    "calibrate_receptor": Words(
        "meterlink calibrate --receptor {receptor}", marked("calibrate the sensor with the {receptor} receptor too")
    ),
    "calibrate_angle": Words("meterlink calibrate angle", marked("test the sensor's response to light from the side")),
    "calibrate_spectral": Words("meterlink calibrate spectral diode.csv", marked("give its spectral response")),
    "verify": Words("meterlink verify", marked("test the sensor (ten minutes)")),
    # the library
    "store_check": Words("meterlink store check", marked("check the library")),
    "store_backups": Words("meterlink store backups", marked("look at the list of backups")),
    "store_restore": Words("meterlink store restore {backup}", marked("bring an earlier copy of the library back")),
    "store_restore_latest": Words("meterlink store restore latest", marked("put the last backup in its place")),
    "merge": Words("meterlink merge LIBRARY", marked("exchange it as a library file")),
    "import": Words("meterlink import {file}", marked("give a file"), marked("touch Import on the Library page")),
}
"""Every action by its code."""

TOUCHED = {
    "All together": "set.sum", "Did it": "match.moved", "Import": "library.import", "Library": "place.library",
    "Light": "lights.add", "Lights": "place.lights", "Match": "place.match", "Meter": "place.metering",
    "Meter all": "metering.start", "Meter it": "lights.meter_this",
    "More": "lights.more", "New set": "library.new", "Open the demo set": "first.demo",
    "Sensors": "place.sensors", "Set": "place.set", "Settings": "place.settings", "Take back": "metering.take_back",
    "Use the simulated sensor": "sensors.simulate",
}  # fmt: skip
"""What is named in the touches above, each by the key of the app's text for it (held together by ``tests/words``)."""


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
