"""The lights page: the list with the plan, and one light open to be described by touch."""

from __future__ import annotations

from typing import Any

from kivy.clock import Clock
from kivy.metrics import dp
from kivy.properties import BooleanProperty, ListProperty, StringProperty

from meterlink.records.kept import ROLES
from meterlink.words.told import written
from mobile import lights_state as state
from mobile import ring_view, theme  # noqa: F401  (the .kv file names a class of ring_view)
from mobile.fronts import SourceTile
from mobile.layouts import refill
from mobile.page import Page
from mobile.ring_state import marks_of
from mobile.texts import t
from mobile.widgets import Field, Moving, Row, Tap, load_kv, look

HIGH_ELEVATION_DEG = 30.0
"""From here on a light is called overhead and its cautions are shown."""


class LightRow(Moving, Row):
    """One light of the list; a tap opens it."""

    light_id = StringProperty("")
    name = StringProperty("")
    role = StringProperty("")
    place = StringProperty("")
    verdict = StringProperty("")
    word = StringProperty("")
    ordering = BooleanProperty(False)


class LightsPage(Page):
    """See the module."""

    open_id = StringProperty("")
    adding = StringProperty("")
    """``role`` or ``source`` while something is added, else empty."""
    ordering = BooleanProperty(False)
    """The order of the lights is being changed."""
    more = BooleanProperty(False)
    typing = StringProperty("")
    """The one field that is typed into; empty for none."""
    sources = ListProperty()
    _then = ""
    """The page that a field was opened from: once it is typed, that page comes back."""

    def on_kv_post(self, _base: object) -> None:
        """Connect what the page's own widgets tell."""
        ids = self.ids
        # Held here: a part that is off the page has nobody else, and ids are weak.
        self.listing = (ids.list_part.__self__, ids.list_ring_part.__self__)
        self.editing = (ids.edit_ring_part.__self__, ids.edit_part.__self__)
        self._power = ids.power_part.__self__
        look().fbind("columns", self._place_power)
        self._place_power()
        ids.ring.on_place = lambda distance, azimuth: self._do(state.place_by_ring, distance, azimuth)
        ids.power.on_step = lambda by, whole: self._do(state.step_stop if whole else state.step_power, by)
        ids.elevation.on_step = lambda by, _whole: self._do(state.step_elevation, by)
        ids.list_ring.on_pick = self.open
        ids.typed.on_commit = self._commit

    # -- showing ------------------------------------------------------------------------------------------------

    def show(self) -> None:
        """Write the state into the widgets."""
        app, ids = self.app, self.ids
        shot = app.desk.shot
        shown = state.lights_look(shot, self.open_id)
        editing = shown.edit is not None
        self._arrange(self.editing if editing else self.listing)
        ids.back.disabled = not editing
        ids.meter.disabled = not editing
        if shown.edit is not None:
            ids.title.text = shown.edit.name
            self._show_edit(shown.edit)
        else:
            self.open_id = ""
            ids.title.text = t("lights.title")
            self._show_list(shown)

    def _arrange(self, parts: tuple[Any, ...]) -> None:
        """Put these parts on the page, in this order, and no others."""
        home = self.ids.columns
        if tuple(reversed(home.children)) != parts:
            home.clear_widgets()
            for part in parts:
                home.add_widget(part)

    def _place_power(self, *_: object) -> None:
        """Power stands on top: of the one column, or of the second where the plan has the first."""
        home = self.editing[1 if look().columns > 1 else 0]
        if self._power.parent is not home:
            self._power.parent.remove_widget(self._power)
            home.add_widget(self._power, index=len(home.children))

    def _show_list(self, shown: state.LightsLook) -> None:
        ids, shot = self.ids, self.app.desk.shot
        ids.empty.text = "" if shown.lines else t("lights.empty")
        rows = ids.rows.put([line.light_id for line in shown.lines], self._row)
        for row, line in zip(rows, shown.lines, strict=True):
            row.name, row.place, row.verdict = line.name, line.place, line.verdict or "none"
            row.role, row.word = line.sign, line.word
            row.ordering = self.ordering
            row.test_name = f"open:{line.name}"
        ids.order.text = t("lights.ordered" if self.ordering else "lights.order")
        ids.order.disabled = len(shown.lines) < 2
        ids.list_ring.marks = list(marks_of(shot.view))
        ids.list_ring.imperial = shot.prefs.imperial
        ids.list_ring.focus_id = shot.waiting.light_id or "" if shot.waiting else ""
        self._show_adding()

    def _row(self, light_id: str) -> LightRow:
        row = LightRow(light_id=light_id)
        row.bind(on_release=lambda _row: self.open(light_id))
        row.ids.up.bind(on_release=lambda _tap: self._reorder(light_id, -1))
        row.ids.down.bind(on_release=lambda _tap: self._reorder(light_id, 1))
        return row

    def _show_adding(self) -> None:
        ids, shot = self.ids, self.app.desk.shot
        row = ids.add_choices
        wanted: list[tuple[str, str, str]] = []
        ids.add_title.text = ""
        if self.adding == "role":
            ids.add_title.text = t("lights.add_title")
            wanted = [(role, written(role, "role"), role) for role in ROLES]
        elif self.adding == "source":
            ids.add_title.text = t("lights.reflector_title")
            wanted = [(light_id, name, "") for light_id, name in state.sources_for_reflector(shot)]
        self._taps(row, wanted, "add:", self._add)

    @staticmethod
    def _taps(row: Any, wanted: list[tuple[str, str, str]], prefix: str, act: Any) -> None:
        """Make the taps of a row."""

        def make(one: tuple[str, str, str]) -> Tap:
            value, text, sign = one
            name = f"{prefix}{text if prefix == 'add:' else value}"
            size = "mark" if sign else "note"
            return Tap(text=text, value=value, sign=sign, stacked=bool(sign), size_name=size, test_name=name, act=act)

        refill(row, wanted, make)

    def _show_edit(self, edit: state.EditLook) -> None:
        ids, shot = self.ids, self.app.desk.shot
        ids.stale.text = edit.stale
        ids.fed_by.text = t("lights.fed_by", name=edit.reflector_of) if edit.reflector_of else ""
        roles = [(role, written(role, "role"), role) for role in ROLES]
        self._taps(ids.role, roles, "role:", lambda role: self._do(state.set_role, role))
        for tap in ids.role.children:
            tap.chosen = tap.value == edit.role
        ids.power.value_text = edit.power or t("metering.power_unknown")
        ids.power.step_text = state.power_step_text(shot.light(self.open_id), shot.prefs)
        ids.power_part.disabled = bool(edit.reflector_of)
        ids.elevation.value_text = edit.elevation
        ids.more_tap.text = t("lights.fewer" if self.more else "lights.more")
        self._show_values(ids.value_taps, edit.fields)
        self._show_values(ids.more_values, edit.more if self.more else ())
        self._show_typed({one.name: one for one in (*edit.fields, *edit.more)})
        placement = shot.view.state(self.open_id).placement
        ring = ids.ring
        ring.marks, ring.focus_id, ring.imperial = list(marks_of(shot.view)), self.open_id, shot.prefs.imperial
        ring.elevation_deg = (placement.elevation_deg if placement else None) or 0.0
        ids.overhead.text = t("lights.overhead") if ring.elevation_deg >= HIGH_ELEVATION_DEG else ""
        self._show_sources(edit)
        if placement is not None:
            ids.outline.source = state.Source("", "", placement.shape, placement.width_m, placement.height_m)

    def _show_sources(self, edit: state.EditLook) -> None:
        for tile in refill(self.ids.sources, self.sources, self._tile):
            own = tile.source.modifier
            tile.chosen = tile.source.key == edit.source if not own else own == edit.modifier

    def _tile(self, source: state.Source) -> SourceTile:
        tile = SourceTile(text=source.label, source=source, test_name=f"source:{source.key}", size_name="mark")
        tile.act = lambda _value: self._do(state.set_source, source)
        return tile

    def _show_values(self, box: Any, looks: tuple[state.FieldLook, ...]) -> None:
        """Each value as a tap; touching one opens it in the one field that can be typed into."""
        names = (one.name for one in looks)
        taps = refill(box, names, lambda name: Tap(value=name, test_name=f"value:{name}", act=self.type))
        for tap, one in zip(taps, looks, strict=True):
            tap.text = t("lights.value", label=one.label, value=one.text or t("lights.not_given"))
            tap.chosen = one.name == self.typing

    def _show_typed(self, fields: dict[str, state.FieldLook]) -> None:
        field, one = self.ids.typed, fields.get(self.typing)
        field.disabled = one is None
        if one is None:
            field.test_name = ""
            return
        changed = field.test_name != f"field:{one.name}"
        field.test_name = f"field:{one.name}"
        field.label, field.hint = one.label, one.hint
        if changed:
            field.error = ""
            field.ids.line.text = one.text
        field.text = one.text

    # -- doing --------------------------------------------------------------------------------------------------

    def _do(self, work: Any, *args: Any, field: Any = None, done: Any = None) -> None:
        self.app.change(self.open_id, work, *args, field=field, done=done)

    def type(self, name: str) -> None:
        """Open one value to be typed, or close it again."""
        self.typing, self._then = "" if self.typing == name else name, ""
        self.show()

    def _commit(self, text: str, field: Field) -> None:
        def done(_shot: Any) -> None:
            field.put()
            then, self._then = self._then, ""
            if then:
                self.app.go(then)

        self._do(state.set_field, self.typing, text, field=field, done=done)

    def open(self, light_id: str, field: str = "", then: str = "") -> None:
        """Open a light for changes, with ``field`` ready to be typed where one is named; ``then``: the page that asked for it."""
        self.open_id, self.adding, self.more, self.typing, self._then = light_id, "", False, field, then
        self.ids.pane.scroll_y = 1
        self.show()
        app = self.app

        async def read() -> None:
            self.sources = await app.run(state.sources_of, app.desk)
            if app.page is self:
                self.show()
                if field:
                    self._reveal()

        app.spawn(read())

    def _reveal(self) -> None:
        """Bring the field that is typed into in sight, once the page has found its height, and let it be typed into."""

        def scroll(_dt: float) -> None:
            field = self.ids.typed
            if not field.disabled:
                self.ids.pane.scroll_to(field, padding=dp(theme.GAP), animate=False)
                field.ids.line.focus = True

        Clock.schedule_once(lambda _dt: Clock.schedule_once(scroll, 0), 0)

    def close(self) -> None:
        """Back to the list."""
        self.open_id = self._then = ""
        self.ids.pane.scroll_y = 1
        self.show()

    def back(self) -> bool:
        """From a field to its light, from a light to the list."""
        if self.typing and self.open_id:
            self.typing = self._then = ""
        elif self.open_id and not self._came_to_edit:
            self.close()
            return True
        elif self.adding or self.ordering:
            self.adding, self.ordering = "", False
        else:
            self.open_id = ""
            return False
        self.show()
        return True

    @property
    def _came_to_edit(self) -> bool:
        """The light was opened from another page: one step back is that page, not the list."""
        came_by = self.app._came_by
        return bool(came_by) and came_by[-1] in ("set", "match")

    def add(self, what: str) -> None:
        """Begin to add a light (by ``role``) or a reflector (by ``source``)."""
        self.adding = "" if self.adding == what else what
        self.show()

    def _add(self, value: str) -> None:
        desk = self.app.desk
        args = (value,) if self.adding == "role" else ("fill", value)
        self.adding = ""
        self.app.do(state.add_light, desk, *args, done=lambda light: self.open(light.id))

    def toggle_order(self) -> None:
        """Begin or end to change the order."""
        self.ordering = not self.ordering
        self.show()

    def _reorder(self, light_id: str, by: int) -> None:
        app, light = self.app, self.app.desk.shot.light(light_id)
        app.do(app.desk.reorder, light_id, by, done=lambda _shot: app.offer_undo(
            t("undo.order", name=light.name if light else ""), lambda: app.do(app.desk.reorder, light_id, -by)))  # fmt: skip

    def meter_this(self) -> None:
        """Wait for the open light."""
        self.app.do(self.app.desk.wait_for, self.open_id, done=lambda _shot: self.app.go("metering"))

    def remove(self) -> None:
        """Take the light out; it can be put back."""
        app, light_id = self.app, self.open_id
        light = app.desk.shot.light(light_id)

        def done(_shot: Any) -> None:
            self.close()
            app.offer_undo(t("undo.removed", name=light.name), lambda: app.do(app.desk.bring_back, light))

        app.do(app.desk.remove_light, light_id, done=done)

    def toggle_more(self) -> None:
        """Show or hide what is asked for only when wanted."""
        self.more = not self.more
        self.show()


load_kv(__file__)
