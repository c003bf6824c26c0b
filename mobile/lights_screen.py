"""The lights page: the list with the ring view, and one light open for changes."""

from __future__ import annotations

from typing import Any

from kivy.properties import BooleanProperty, StringProperty

from meterlink.records.kept import ROLES, SHAPES
from mobile import lights_state as state
from mobile import ring_view  # noqa: F401  (the .kv file names its class)
from mobile.drawings import Drawing
from mobile.page import Page
from mobile.ring_state import marks_of
from mobile.texts import t
from mobile.widgets import Card, Field, Tap, load_kv, look

HIGH_ELEVATION_DEG = 30.0
"""From here on a light is called overhead and its cautions are shown."""


class LightRow(Card):
    """One light of the list; a tap opens it."""

    test_name = StringProperty("")
    light_id = StringProperty("")
    name = StringProperty("")
    role = StringProperty("")
    place = StringProperty("")
    verdict = StringProperty("")


class OutlineView(Drawing):
    """The front of the source, to scale with a face beside it."""

    from kivy.properties import NumericProperty, OptionProperty

    shape = OptionProperty("point", options=list(SHAPES))
    width_m = NumericProperty(0.0)
    height_m = NumericProperty(0.0)
    FOLLOWS = ("shape", "width_m", "height_m")
    FACE_M = (0.16, 0.23)
    """A face, for scale (common practice, no published source)."""

    def paint(self) -> None:
        """Draw the outline and the face."""
        from kivy.graphics import Color, Line

        style = look()
        w = self.width_m or 0.08
        h = (self.height_m or w) if self.shape == "rectangle" else w
        face_w, face_h = self.FACE_M
        scale = min(self.width * 0.94 / (w + face_w + 0.1), self.height * 0.94 / max(h, face_h))
        left = self.center_x - (w + face_w + 0.1) * scale / 2
        y = self.center_y
        Color(*style.ink)
        if self.shape == "rectangle":
            Line(rectangle=(left, y - h * scale / 2, w * scale, h * scale), width=1.6)
        else:
            Line(ellipse=(left, y - h * scale / 2, w * scale, h * scale), width=1.6)
        Color(*style.quiet)
        Line(ellipse=(left + (w + 0.1) * scale, y - face_h * scale / 2, face_w * scale, face_h * scale), width=1.2)


class LightsPage(Page):
    """See the module."""

    open_id = StringProperty("")
    adding = StringProperty("")
    """``role`` or ``source`` while something is added, else empty."""
    more = BooleanProperty(False)
    sure = BooleanProperty(False)
    """The next tap on *take out* does it."""

    def on_kv_post(self, _base: object) -> None:
        """Connect what the page's own widgets tell."""
        ids = self.ids
        # Held here: a part that is off the page has nobody else, and ids are weak.
        self.listing = (ids.list_part.__self__, ids.list_ring_part.__self__)
        self.editing = (ids.edit_ring_part.__self__, ids.edit_part.__self__)
        ids.role.on_choose = lambda role: self._do(state.set_role, role)
        ids.shape.on_choose = lambda shape: self._do(state.set_shape, shape)
        ids.ring.on_place = lambda distance, azimuth: self._do(state.place_by_ring, distance, azimuth)
        ids.list_ring.on_pick = self.open

    # -- showing ------------------------------------------------------------------------------------------------

    def show(self) -> None:
        """Write the state into the widgets."""
        app = self.app
        shot = app.desk.shot
        shown = state.lights_look(shot, self.open_id)
        editing = shown.edit is not None
        self._arrange(self.editing if editing else self.listing)
        if editing:
            self._show_edit(shown.edit)
        else:
            self.open_id = ""
            self._show_list(shown)

    def _arrange(self, parts: tuple[Any, ...]) -> None:
        """Put these parts on the page, in this order, and no others."""
        home = self.ids.columns
        if tuple(reversed(home.children)) != parts:
            home.clear_widgets()
            for part in parts:
                home.add_widget(part)

    def _show_list(self, shown: state.LightsLook) -> None:
        ids, shot = self.ids, self.app.desk.shot
        ids.empty.text = "" if shown.lines else t("lights.empty")
        rows = ids.rows
        if [r.light_id for r in reversed(rows.children)] != [line.light_id for line in shown.lines]:
            rows.clear_widgets()
            for line in shown.lines:
                row = LightRow(light_id=line.light_id, test_name=f"light:{line.name}")
                row.ids.open.bind(on_release=lambda _tap, one=line.light_id: self.open(one))
                row.ids.up.bind(on_release=lambda _tap, one=line.light_id: self._reorder(one, -1))
                row.ids.down.bind(on_release=lambda _tap, one=line.light_id: self._reorder(one, 1))
                rows.add_widget(row)
        for row, line in zip(reversed(rows.children), shown.lines, strict=True):
            row.name, row.role, row.place, row.verdict = line.name, line.role, line.place, line.verdict
            row.test_name = f"light:{line.name}"
        ids.list_ring.marks = list(marks_of(shot.view))
        ids.list_ring.imperial = shot.prefs.imperial
        ids.list_ring.focus_id = shot.waiting.light_id or "" if shot.waiting else ""
        self._show_adding()

    def _show_adding(self) -> None:
        ids, shot = self.ids, self.app.desk.shot
        row = ids.add_choices
        row.clear_widgets()
        if self.adding == "role":
            ids.add_title.text = t("lights.add_title")
            wanted = [(role, t(f"role.{role}")) for role in ROLES]
        elif self.adding == "source":
            ids.add_title.text = t("lights.reflector_title")
            wanted = list(state.sources_for_reflector(shot))
        else:
            ids.add_title.text = ""
            wanted = []
        for value, text in wanted:
            tap = Tap(text=text, value=value, test_name=f"add:{text}")
            tap.bind(on_release=lambda one: self._add(one.value))
            row.add_widget(tap)

    def _show_edit(self, edit: state.EditLook) -> None:
        ids, shot = self.ids, self.app.desk.shot
        ids.edit_name.text = edit.name
        ids.stale.text = edit.stale
        ids.fed_by.text = t("lights.fed_by", name=edit.reflector_of) if edit.reflector_of else ""
        ids.role.options = [(role, t(f"role.{role}")) for role in ROLES]
        ids.role.chosen = edit.role
        ids.shape.options = [(shape, t(f"shape.{shape}")) for shape in SHAPES]
        ids.shape.chosen = edit.shape
        ids.power.text = edit.power or t("lights.no_power")
        ids.power_part.disabled = bool(edit.reflector_of)
        ids.power_part.opacity = 0 if edit.reflector_of else 1
        self._fields(ids.fields, edit.fields)
        ids.more_tap.text = t("lights.fewer" if self.more else "lights.more")
        self._fields(ids.more_fields, edit.more if self.more else ())
        ids.remove_tap.text = t("lights.remove_sure" if self.sure else "lights.remove")
        placement = shot.view.state(self.open_id).placement
        ring = ids.ring
        ring.marks, ring.focus_id, ring.imperial = list(marks_of(shot.view)), self.open_id, shot.prefs.imperial
        ring.elevation_deg = (placement.elevation_deg if placement else None) or 0.0
        ids.overhead.text = t("lights.overhead") if ring.elevation_deg >= HIGH_ELEVATION_DEG else ""
        outline = ids.outline
        if placement is not None:
            outline.shape = placement.shape
            outline.width_m, outline.height_m = placement.width_m or 0.0, placement.height_m or 0.0

    def _fields(self, box: Any, looks: tuple[state.FieldLook, ...]) -> None:
        """Show the fields; the widgets stay as long as they are the same, so that nobody's typing is cut short."""
        have = {field.test_name: field for field in box.children}
        wanted = [f"field:{one.name}" for one in looks]
        if sorted(have) != sorted(wanted):
            box.clear_widgets()
            for one in looks:
                field = Field(test_name=f"field:{one.name}")
                field.on_commit = lambda text, widget, name=one.name: self._commit(name, text, widget)
                box.add_widget(field)
            have = {field.test_name: field for field in box.children}
        for one in looks:
            field = have[f"field:{one.name}"]
            field.label, field.hint = one.label, one.hint
            field.text = one.text

    # -- doing --------------------------------------------------------------------------------------------------

    def _do(self, work: Any, *args: Any, field: Any = None, done: Any = None) -> None:
        self.app.do(work, self.app.desk, self.open_id, *args, field=field, done=done)

    def _commit(self, name: str, text: str, field: Field) -> None:
        self._do(state.set_field, name, text, field=field, done=lambda _shot: field.put())

    def open(self, light_id: str) -> None:
        """Open a light for changes."""
        self.open_id, self.adding, self.sure, self.more = light_id, "", False, False
        self.ids.pane.scroll_y = 1
        self.show()

    def close(self) -> None:
        """Back to the list."""
        self.open_id = ""
        self.show()

    def add(self, what: str) -> None:
        """Begin to add a light (by ``role``) or a reflector (by ``source``)."""
        self.adding = "" if self.adding == what else what
        self.show()

    def _add(self, value: str) -> None:
        desk = self.app.desk
        args = (value,) if self.adding == "role" else ("fill", value)
        self.adding = ""
        self.app.do(state.add_light, desk, *args, done=lambda light: self.open(light.id))

    def _reorder(self, light_id: str, by: int) -> None:
        self.app.do(self.app.desk.reorder, light_id, by)

    def step(self, steps: int) -> None:
        """Turn the dial."""
        self._do(state.step_power, steps)

    def meter_this(self) -> None:
        """Wait for the open light."""
        self.app.do(self.app.desk.wait_for, self.open_id, done=lambda _shot: self.app.go("metering"))

    def remove(self) -> None:
        """Take the light out, at the second tap."""
        if not self.sure:
            self.sure = True
            self.show()
            return
        self.sure = False
        self.app.do(self.app.desk.remove_light, self.open_id, done=lambda _shot: self.close())

    def toggle_more(self) -> None:
        """Show or hide what is asked for only when wanted."""
        self.more = not self.more
        self.show()


load_kv(__file__)
