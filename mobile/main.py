"""The app: wiring only.  The desk and the sensor desk do the work, the pages show it.

Slow work (everything that touches the library) runs on one worker thread, in the order in which it was asked for;
properties are written on the event loop's thread.  The loop is asyncio, inside kivy's own (``async_run``).
"""

from __future__ import annotations

import argparse
import asyncio
import os
import sys
import time
from pathlib import Path
from typing import Any

from mobile import environment

environment.prepare()  # before anything that imports kivy, which else takes the command line for its own

from kivy.app import App  # noqa: E402
from kivy.clock import Clock  # noqa: E402
from kivy.core.window import Window  # noqa: E402
from kivy.properties import BooleanProperty, ObjectProperty, StringProperty  # noqa: E402

from meterlink.checks.room_light import resolution_lx  # noqa: E402
from meterlink.errors import MeterlinkError  # noqa: E402
from meterlink.library.store import Library  # noqa: E402
from meterlink.metering.outcome import Outcome, OutcomeCode, OutcomeKind  # noqa: E402
from meterlink.records import Measurement  # noqa: E402
from mobile import texts  # noqa: E402
from mobile.desk import Desk, Shot  # noqa: E402
from mobile.frame import Frame  # noqa: E402
from mobile.look import Look  # noqa: E402
from mobile.made_up import pulse_for  # noqa: E402
from mobile.metering_state import complete, live_text, metering_look, near_of  # noqa: E402
from mobile.navigation import Navigation  # noqa: E402
from mobile.sensor_desk import SIMULATED_URL, SensorDesk  # noqa: E402
from mobile.sensors_state import strip_text  # noqa: E402
from mobile.sounds import play_tick  # noqa: E402
from mobile.theme import MOVE_S  # noqa: E402
from mobile.voice import Ticker, Voice  # noqa: E402
from mobile.work import Work  # noqa: E402

SEEN_S = 3.0
"""So long the last light's verdict stands before the set comes up by itself; a touch keeps it."""
LEVEL_EVERY_S = 0.25
"""The live light is written at most so often: nobody reads faster, and every writing costs."""


class MeterApp(Work, Navigation, App):
    """The app: its window and screens, over the desks that know set and sensor."""

    look = ObjectProperty(None)
    strip = StringProperty("")
    """The sensor in one line."""
    simulated = BooleanProperty(False)
    can_fire = BooleanProperty(False)
    """The simulated set waits to be fired."""
    place = StringProperty("")
    """The page that is shown."""

    def __init__(self, library: Library, *, sensor_url: str = "", voice: Voice | None = None, **sensor_options: Any) -> None:
        super().__init__()
        self.title = texts.t("app.title")
        self.desk = Desk(library)
        texts.use(self.desk.prefs.language)
        self.look = Look()
        self.look.wear(self.desk.prefs.theme, self.desk.prefs.text_scale)
        self.voice = voice or Voice(play=play_tick)
        self.level: Measurement | None = None
        self._start_url = sensor_url or self.desk.prefs.sensor_url
        self._sensor_options = sensor_options
        self.ticker = Ticker()
        self._show_level = Clock.create_trigger(self._level_frame, LEVEL_EVERY_S)
        self._show_sensor = Clock.create_trigger(self._sensor_frame)
        self.last_touch = (0.0, 0.0)
        self._showing_set: Any = None
        self._was_lost = self._was_ready = False
        self.export_to: str | None = None
        """Folder for exported files; None is the person's documents."""
        self.sensors = SensorDesk(
            library,
            session=lambda: self.desk.session,
            take=self.desk.take,
            worker=self._worker,
            spawn=self.spawn,
            on_outcome=lambda outcome: self.after_pop(outcome),
            on_error=self.say_error,
            on_unseen=self._unseen,
            on_level=self._on_level,
            on_change=self._show_sensor,
            **sensor_options,
        )

    # -- kivy ---------------------------------------------------------------------------------------------------

    def build(self) -> Any:
        """Make the frame: the sensor's strip, the page, the bar of places, and what stands over them for a moment."""
        self.look.fit(*Window.size)
        Window.fbind("size", lambda _w, size: self.look.fit(*size))
        Window.fbind("on_touch_down", self._remember_touch)
        Window.fbind("on_keyboard", self._key)
        Window.clearcolor = self.look.ground
        self.look.fbind("ground", lambda _l, colour: setattr(Window, "clearcolor", colour))
        Window.softinput_mode = "below_target"
        Window.keyboard_anim_args = {"d": MOVE_S, "t": "out_quad"}
        frame = Frame()
        self.frame = frame
        self.pages = frame.ids.pages
        return frame

    def on_start(self) -> None:
        """Come back to where one was."""
        self.go("metering" if self.desk.shot.setup is not None else "first")
        if self._start_url:
            self.connect(self._start_url)
        if self._sensor_options.get("finders") != ():
            self.sensors.look_for()
        self._sensor_frame()

    def on_pause(self) -> bool:
        """Nothing to save: everything is on the disk when it is shown."""
        return True

    def on_resume(self) -> None:
        """Show what came in the meantime."""
        self.refresh()

    async def close(self) -> None:
        """End everything in order: sensor, work under way, voice, library."""
        await self.sensors.close()
        for task in list(self._tasks):
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        await asyncio.get_running_loop().run_in_executor(None, self._worker.shutdown)
        self.voice.close()
        self.desk.close()

    def _remember_touch(self, _window: object, touch: Any) -> bool:
        self.last_touch = touch.pos
        note = self.frame.ids.note
        if note.text:
            note.hide()
        if self._showing_set is not None:
            # A hand on the screen: she is still reading here.
            self._showing_set.cancel()
            self._showing_set = None
        return False

    # -- showing ------------------------------------------------------------------------------------------------

    def explain(self, term: str) -> None:
        """Say what a word of the trade means, beside the finger."""
        self.note(texts.t(f"explain.{term}"))

    @property
    def lost(self) -> bool:
        """The sensor in use was there and is not now."""
        return self._was_ready and self.sensors.status.state in ("lost", "looking")

    def refresh(self) -> None:
        """Let the page that is seen show the snapshot."""
        self.can_fire = self.simulated and self.desk.shot.waiting is not None
        page = self.page
        if page is not None:
            page.show()

    # -- what the person likes ----------------------------------------------------------------------------------

    def wear(self) -> None:
        """Follow the settings."""
        prefs = self.desk.prefs
        texts.use(prefs.language)
        self.look.wear(prefs.theme, prefs.text_scale)
        self.refresh()

    # -- the sensor ---------------------------------------------------------------------------------------------

    def connect(self, url: str, field: Any = None) -> None:
        """Use a sensor from now on."""

        async def run() -> None:
            try:
                await self.sensors.connect(url)
            except MeterlinkError as error:
                self.say_error(error, field)
                return
            await self.run(self.desk.remember, sensor_url=url)
            self.refresh()

        self.spawn(run())

    def simulate(self) -> None:
        """Use the simulated sensor."""
        self.connect(SIMULATED_URL)

    def replug(self) -> None:
        """Put the simulated sensor's cable back: the same one, with what it knows."""
        simulator, sensor = self.sensors.simulator, self.sensors.sensor
        if simulator is not None and sensor is not None:
            simulator.plug()
            self.spawn(sensor.start())

    def fire(self, held_off_m: float = 0.0, *, damaged: bool = False) -> None:
        """Let the simulated set fire the light that is waited for."""
        simulator, request = self.sensors.simulator, self.desk.shot.waiting
        if simulator is None or request is None:
            self.note(texts.t("metering.begin_hint"))
            return
        pulse = pulse_for(self.desk.shot, request, held_off_m)
        if pulse is not None:
            (simulator.pop_damaged if damaged else simulator.pop)(pulse)

    async def prepare(self) -> None:
        """Make the sensor ready for what is waited for now."""
        await self.sensors.prepare()

    def after_pop(self, outcome: Outcome) -> None:
        """Show, say and feel what became of a pop; when all lights are metered the table comes up by itself, a moment later."""
        if self.page is None:
            return
        shot: Shot = self.desk.shot
        self.refresh()
        if outcome.kind == OutcomeKind.IGNORED and outcome.code != OutcomeCode.NOT_LISTENING:
            return
        shown = metering_look(shot)
        taken, heard = outcome.kind == OutcomeKind.LOGGED, outcome.kind != OutcomeKind.IGNORED
        if taken:
            # A change that was fired with is none to be undone by one tap: its pop would count no more.
            self.frame.ids.undo.hide()
        if self.desk.prefs.vibration:
            self.voice.buzz((shown.verdict or "good") if heard else "retake")
        if self.desk.prefs.speech:
            self.voice.tick("taken" if taken else "again")
            again = texts.t("say.again", name=shown.last_name) if heard else texts.t("say.not_listening")
            self.voice.say(shown.spoken if taken else again)
            waits = shot.light(shot.waiting.light_id) if shot.waiting else None
            if taken and shot.any_order:
                names = ", ".join(light.name for light in map(shot.light, shot.free) if light)
                self.voice.say(texts.t("say.left", names=names))
            elif taken and waits is not None:
                once_more = shown.verdict == "retake" and outcome.light is not None and waits.id == outcome.light.id
                self.voice.say(texts.t("say.again" if once_more else "say.waiting", name=waits.name))
                self.voice.say(shot.to_change)
                self.voice.say(shown.recalled)
            elif taken and shot.done and complete(shot):
                self.voice.say(texts.t("say.done"))
        if taken and shot.done and complete(shot) and self.place == "metering":
            self._showing_set = Clock.schedule_once(lambda _dt: self._show_set(), SEEN_S)

    def _show_set(self) -> None:
        self._showing_set = None
        if self.place == "metering" and self.desk.shot.waiting is None:
            self.go("match" if self.desk.shot.match is not None else "set")

    def _unseen(self, closer: bool) -> None:
        """No pop came: said where one is waited for, and once the sensor listens as closely as it can."""
        if not closer and self.place == "metering":
            self.note(texts.t("metering.unseen"))

    def _on_level(self, level: Measurement) -> None:
        self.level = level
        self._show_level()

    def _level_frame(self, _dt: float) -> None:
        if self.page is None:
            return  # the app has ended, its last light comes late
        level = self.level if self.sensors.status.ready else None
        where = near_of(self.desk.shot, level)
        calibration = self.sensors.sensor.calibration if self.sensors.sensor is not None else None
        least_lx = resolution_lx(calibration, level.range_index) if level is not None else 0.0
        light = live_text(level.illuminance_lx, level.clipped, least_lx) if level is not None else ""
        self.frame.ids.strip.live = "  ".join(filter(None, (light, where.sentence if where is not None else "")))
        tick = self.ticker.due(where, time.monotonic())
        if tick and self.desk.prefs.speech and self.place == "metering":
            self.voice.tick(tick)

    def _sensor_frame(self, _dt: float = 0.0) -> None:
        status = self.sensors.status
        self.simulated = status.simulated
        self.can_fire = status.simulated and self.desk.shot.waiting is not None
        shown = strip_text(status)
        marked = not status.simulated or texts.t("app.simulated") in shown
        self.strip = shown if marked else texts.t("app.strip_simulated", what=shown)
        self._tell_loss()
        page = self.page
        if page is None:
            return
        if not status.ready:
            self.level = None
            self._level_frame(0.0)
        if status.ready:
            self.spawn(self.prepare())
        page.show_sensor()

    def _tell_loss(self) -> None:
        """Say that the sensor went, and that it is back: once each.  One that was never there is not lost."""
        self._was_ready = self.sensors.status.ready or (self._was_ready and self.sensors.status.state in ("lost", "looking"))
        if self.lost == self._was_lost or not (self.lost or self.sensors.status.ready):
            return
        self._was_lost = self.lost
        if self.desk.prefs.speech:
            self.voice.say(texts.t("say.lost" if self.lost else "say.back"))
        if self.desk.prefs.vibration and self.lost:
            self.voice.buzz("retake")

    def fire_held(self) -> None:
        """Fire the simulated light with the dome held as it was said."""
        waiting = self.desk.shot.waiting
        self.fire((waiting.held_off_m if waiting else None) or 0.0)


async def amain(app: MeterApp) -> None:
    """Run the app in the running event loop."""
    try:
        await app.async_run(async_lib="asyncio")
    finally:
        await app.close()


def library_on_phone() -> str | None:
    """Return the library's file inside the app's own storage on Android, None elsewhere (the user's data folder)."""
    private = os.environ.get("ANDROID_PRIVATE")
    return str(Path(private) / "library.sqlite") if private else None


def main(argv: list[str] | None = None) -> int:
    """Run the app: ``python -m mobile [--library FILE] [--sensor URL]``."""
    parser = argparse.ArgumentParser(prog="python -m mobile", description="Meter a set with one hand.")
    parser.add_argument("--library", metavar="FILE", help="library to use (default: METERLINK_LIBRARY, else the user's)")
    parser.add_argument("--sensor", metavar="URL", default="", help="sensor to connect, e.g. sim:?every=0")
    args = parser.parse_args(argv)
    try:
        library = Library.open(args.library or os.environ.get("METERLINK_LIBRARY") or library_on_phone())
    except MeterlinkError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    asyncio.run(amain(MeterApp(library, sensor_url=args.sensor)))
    return 0
