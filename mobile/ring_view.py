"""The ring view: the set from above, centred on the face, the camera at the bottom edge.  Arithmetic is in ``ring_state``."""

from __future__ import annotations

from collections.abc import Callable
from math import cos, hypot, radians, sin
from typing import Any

from kivy.clock import Clock
from kivy.graphics import Color, Ellipse, Line, Rectangle
from kivy.metrics import dp
from kivy.properties import BooleanProperty, ListProperty, NumericProperty, StringProperty

from meterlink.words.placed import away_text, direction_text
from mobile import figures, ring_state, theme
from mobile.drawings import Drawing
from mobile.ring_state import RingMark, Scale
from mobile.widgets import look, text_width

HOLD_S = 0.3
"""So long a finger stays on a handle before the light follows it."""


RING_LABELS_DEG = (180, 145, 215, 35, 325, 0, 90)
"""Where on its ring a distance may stand, from the right, counter-clockwise; each ring begins one further."""
FEW_WORDS_DP = 420
"""A plan narrower than this has no room for every distance while a light is placed."""


class RingView(Drawing):
    """Lights around the face, to scale.  With ``editing`` the light named has a handle: press, hold, and drag."""

    marks = ListProperty()
    focus_id = StringProperty("")
    """The light that is open (or waited for): drawn strong."""
    editing = BooleanProperty(False)
    imperial = BooleanProperty(False)
    elevation_deg = NumericProperty(0.0)
    """Of the light that is open: its handle moves on the plan, its distance is along the slope."""
    on_place: Callable[[float, float], None] | None = None
    """Called with (distance in m, azimuth in degrees) when the handle is let go."""
    on_pick: Callable[[str], None] | None = None
    """Called with a light's id when it is tapped."""
    FOLLOWS = ("marks", "focus_id", "editing", "imperial", "held")

    held = BooleanProperty(False)
    """The handle is held: it follows the finger."""

    _dragged: tuple[float, float] | None = None
    _reach = 0.0
    _holding: Any = None
    _begin = (0.0, 0.0)

    @property
    def scale(self) -> Scale:
        """From metres to pixels, as drawn now."""
        reach = self._reach or ring_state.reach_of(self.marks)
        return ring_state.scale_for(self.x, self.y, self.width, self.height - self._readout_room, reach)

    @property
    def _readout_room(self) -> float:
        """Height above the plan for the distance of the light that is placed."""
        return look().body * 1.3 if self.editing else 0.0

    # -- touch --------------------------------------------------------------------------------------------------

    def takes(self, _x: float, _y: float) -> bool:
        """Say whether the page must not scroll: only while a handle is held."""
        return self.held

    def _nearest(self, x: float, y: float) -> str | None:
        return ring_state.nearest_mark(self.marks, self.scale, x, y, dp(theme.TARGET) / 2)

    def on_touch_down(self, touch: Any) -> bool:  # noqa: D102
        if not self.collide_point(*touch.pos):
            return False
        found = self._nearest(*touch.pos)
        if self.editing and found == self.focus_id != "":
            # A swipe that begins on the handle is a swipe: only a finger that stays takes hold of the light.
            touch.grab(self)
            self._begin = touch.pos
            self._holding = Clock.schedule_once(lambda _dt: self._take_hold(), HOLD_S)
            return True
        if found and self.on_pick is not None and not self.editing:
            self.on_pick(found)
            return True
        return False

    def _take_hold(self) -> None:
        self._holding = None
        self.held = True
        self._reach = ring_state.reach_of(self.marks)
        self.redraw()

    def _let_go(self) -> None:
        if self._holding is not None:
            self._holding.cancel()
            self._holding = None
        self.held = False

    def on_touch_move(self, touch: Any) -> bool:  # noqa: D102
        if touch.grab_current is not self:
            return False
        if not self.held:
            if hypot(touch.x - self._begin[0], touch.y - self._begin[1]) > dp(theme.GAP):
                self._let_go()
                touch.ungrab(self)
            return False
        x, y = min(max(touch.x, self.x), self.right), min(max(touch.y, self.y), self.top)
        self._dragged = self.scale.to_m(x, y)
        self.redraw()
        return True

    def on_touch_up(self, touch: Any) -> bool:  # noqa: D102
        if touch.grab_current is not self:
            return False
        touch.ungrab(self)
        self._let_go()
        dragged = self._dragged
        self._dragged, self._reach = None, 0.0
        if dragged is not None and self.on_place is not None:
            x_m, z_m = dragged
            mark = next(one for one in self.marks if one.light_id == self.focus_id)
            self.on_place(*ring_state.place_of(mark, x_m, z_m, self.elevation_deg))
        self.redraw()
        return True

    # -- drawing ------------------------------------------------------------------------------------------------

    def paint(self) -> None:
        """Draw rings, face, camera, lights, the open one last."""
        scale = self.scale
        marks = [self._moved(m) for m in self.marks]
        self._written: list[tuple[float, float, float, float]] = [self._face_box(scale)]
        focus = next((m for m in marks if m.light_id == self.focus_id), None)
        if self.editing and focus is not None:
            self._paint_readout(focus)
        self._paint_rings(scale)
        self._paint_face(scale)
        self._paint_backdrop(scale)
        for mark in sorted(marks, key=lambda m: m.light_id == self.focus_id):
            self._paint_mark(scale, mark)
        self._places = [scale.to_px(mark.x_m, mark.z_m) for mark in marks]
        self._drawn = [box for mark in marks for box in self._covered(scale, mark)]
        self._beams = [box for mark in marks for line in self._beams_of(scale, mark) for box in _along(*line, dp(2))]
        for mark in sorted(marks, key=lambda m: m.light_id != self.focus_id):
            x, y = scale.to_px(mark.x_m, mark.z_m)
            focused = mark.light_id == self.focus_id
            self._paint_label(mark, x, y, focused, look().strong if focused else look().ink if mark.placed else look().quiet)
        self._paint_ring_labels(scale)

    def _face_box(self, scale: Scale) -> tuple[float, float, float, float]:
        r = max(dp(7), 0.11 * scale.px_per_m) * 1.6
        return scale.cx - r, scale.cy - r, scale.cx + r, scale.cy + r

    def _paint_readout(self, mark: RingMark) -> None:
        """Distance and direction of the open light, large, at the top edge."""
        if mark.distance_m is None and mark.azimuth_deg is None:
            return
        parts = [away_text(mark.distance_m, self.imperial, mark.point) if mark.distance_m is not None else ""]
        parts.append(direction_text(mark.azimuth_deg, None) if mark.azimuth_deg is not None else "")
        text = "   ".join(filter(None, parts))
        size = look().body * (1.2 if self.held else 1.0)
        size *= min(1.0, self.width / max(text_width(text, size), 1.0))
        Color(*(look().strong if self.held else look().ink))
        y = self.top - look().body * 0.6
        width = self.write(text, self.x, y, size, anchor=0.0)
        self._written.append((self.x, y - size * 0.6, self.x + width, self.top))

    def _moved(self, mark: RingMark) -> RingMark:
        if mark.light_id != self.focus_id or self._dragged is None:
            return mark
        x, z = self._dragged
        distance, azimuth = ring_state.place_of(mark, x, z, self.elevation_deg)
        shift = (x - mark.x_m, z - mark.z_m)
        outline = tuple((a + shift[0], b + shift[1]) for a, b in mark.outline)
        return mark._replace(x_m=x, z_m=z, distance_m=distance, azimuth_deg=azimuth, outline=outline, placed=True)

    def _radii(self, scale: Scale) -> tuple[float, ...]:
        return ring_state.rings_for(min(self.width, self.height - self._readout_room) / 2 / scale.px_per_m, self.imperial)

    def _paint_rings(self, scale: Scale) -> None:
        Color(*look().edge)
        for radius in self._radii(scale):
            Line(circle=(scale.cx, scale.cy, radius * scale.px_per_m), width=1, dash_length=3, dash_offset=5)

    def _paint_ring_labels(self, scale: Scale) -> None:
        """Each ring's distance on its ring, where neither a name nor a light stands; no two in one line."""
        Color(*look().quiet)
        for number, radius in enumerate(self._radii(scale)):
            r, text = radius * scale.px_per_m, figures.format_length(radius, self.imperial)
            for turned in (RING_LABELS_DEG[(number + n) % len(RING_LABELS_DEG)] for n in range(len(RING_LABELS_DEG))):
                x, y = scale.cx + r * cos(radians(turned)), scale.cy + r * sin(radians(turned))
                inside = self.collide_point(x, y - self._label_size) and self.collide_point(x, y + self._label_size)
                left, low, right, high = box = self._box(text, x, y)
                # Not so near to another text that it reads as a part of it.
                roomy = (left - look().gap, low - look().gap, right + look().gap, high + look().gap)
                if inside and not (_meets(roomy, self._written) or _meets(box, self._drawn + self._beams)):
                    self._written.append(box)
                    self._write(text, x, y, self._label_size, look().quiet)
                    break

    def _paint_face(self, scale: Scale) -> None:
        style = look()
        r = max(dp(7), 0.11 * scale.px_per_m)
        Color(*style.quiet)
        Line(ellipse=(scale.cx - r, scale.cy - r * 1.2, 2 * r, 2.4 * r), width=1.4)
        Line(
            points=[scale.cx - r * 0.3, scale.cy - r * 1.15, scale.cx, scale.cy - r * 1.6, scale.cx + r * 0.3, scale.cy - r * 1.15],
            width=1.4,
        )
        # The camera looks up from the bottom edge: a small body with its lens toward the face.
        w, y = dp(13), self.y + dp(3)
        Line(rectangle=(scale.cx - w, y, 2 * w, dp(14)), width=1.2)
        Line(circle=(scale.cx, y + dp(7), dp(4.5)), width=1.2)
        shoe, top = scale.cx + w * 0.55, y + dp(14)
        Line(points=[shoe, top, shoe, top + dp(2.5), scale.cx + w * 0.9, top + dp(2.5)], width=1.2)

    def _paint_mark(self, scale: Scale, mark: RingMark) -> None:
        style = look()
        focused = mark.light_id == self.focus_id
        x, y = scale.to_px(mark.x_m, mark.z_m)
        colour = style.strong if focused else style.ink if mark.placed else style.quiet
        Color(*colour)
        width = 2.4 if focused else 1.6
        for i, ((ax, ay), (bx, by)) in enumerate(self._beams_of(scale, mark)):
            Line(points=[ax, ay, bx, by], width=1, dash_length=6 if i else 2, dash_offset=4)
        if mark.outline:
            (ax, az), (bx, bz) = mark.outline
            Line(points=[*scale.to_px(ax, az), *scale.to_px(bx, bz)], width=width * 1.6, cap="round")
        r = dp(5)
        if mark.placed:
            Ellipse(pos=(x - r, y - r), size=(2 * r, 2 * r))
        else:
            Line(circle=(x, y, r), width=1.4)
        if focused and self.editing:
            Line(circle=(x, y, dp(theme.TARGET) / 2 * (1.25 if self.held else 1.0)), width=3 if self.held else 1.5)

    def _paint_backdrop(self, scale: Scale) -> None:
        """The backdrop, where a light lights it: a line across, without a word: a light may be called so."""
        behind = min((mark.point_z_m for mark in self.marks), default=0.0)
        if not behind:
            return
        y, half = scale.to_px(0.0, behind)[1], self.width * 0.3
        Color(*look().quiet)
        Line(points=[scale.cx - half, y, scale.cx + half, y], width=1.6)
        self._written += _along((scale.cx - half, y), (scale.cx + half, y), dp(3))

    @staticmethod
    def _beams_of(scale: Scale, mark: RingMark) -> list[tuple[tuple[float, float], tuple[float, float]]]:
        """The axis from the light to its point, ending short of a face; for a reflector also the one from its source."""
        x, y = scale.to_px(mark.x_m, mark.z_m)
        px, py = scale.to_px(0.0, mark.point_z_m)
        end = (px, py) if mark.point_z_m else (px + (x - px) * 0.22, py + (y - py) * 0.22)
        return [((x, y), end), *([(scale.to_px(*mark.source_xz), (x, y))] if mark.source_xz is not None else [])]

    def _covered(self, scale: Scale, mark: RingMark) -> list[tuple[float, float, float, float]]:
        """Where a light is drawn: boxes along its front, which no name should cover."""
        (ax, az), (bx, bz) = mark.outline or ((mark.x_m, mark.z_m),) * 2
        parts = [scale.to_px(ax + (bx - ax) * n / 6, az + (bz - az) * n / 6) for n in range(7)]
        r = dp(5)
        boxes = [(x - r, y - r, x + r, y + r) for x, y in parts]
        if self.editing and mark.light_id == self.focus_id:
            (x, y), r = scale.to_px(mark.x_m, mark.z_m), dp(theme.TARGET) / 2
            boxes.append((x - r, y - r, x + r, y + r))
        return boxes

    def _paint_label(self, mark: RingMark, x: float, y: float, focused: bool, colour: Any) -> None:
        """Write a light's name where it covers nothing; what stands in the readout already is not said twice."""
        text = mark.name
        # While a light is placed, the plan of a phone has room for the names of the others only.
        if mark.distance_m is not None and not (self.editing and (focused or self.width < dp(FEW_WORDS_DP))):
            text += f"  {figures.format_length(mark.distance_m, self.imperial)}"
        away = dp(theme.TARGET) / 2 + dp(12) if focused and self.editing else dp(16)
        wide = text_width(text, self._label_size) / 2 + dp(14)
        outward = away if y >= self.center_y else -away
        step = self._label_size * 1.3
        places = [(0, outward), (0, -outward), (wide, 0), (-wide, 0), (wide, outward), (-wide, outward)]
        places += [(side * wide, n * step) for n in (1, -1, 2, -2, 3, -3, 4, -4) for side in (0, 1, -1)]
        boxes = {at: self._box(text, x + at[0], y + at[1]) for at in places}
        free = [at for at in places if not _meets(boxes[at], self._written)]
        if not free:
            return
        # Best beside every light and beam and nearest to its own light; with many lights at least beside the lights.
        clear = [at for at in free if not _meets(boxes[at], self._drawn)]
        own = [at for at in clear if self._is_nearest(boxes[at], (x, y))]
        off = (at for at in (own or clear) if not _meets(boxes[at], self._beams))
        dx, dy = next(off, (own or clear or free)[0])
        self._written.append(boxes[dx, dy])
        self._paint_leader((x, y), boxes[dx, dy])
        self._write(text, x + dx, y + dy, self._label_size, colour)

    def _paint_leader(self, lamp: tuple[float, float], box: tuple[float, float, float, float]) -> None:
        """A thin line from a lamp to its name, where that stands away from it."""
        (x, y), (left, low, right, high) = lamp, box
        near_x, near_y = min(max(x, left), right), min(max(y, low), high)
        away = hypot(near_x - x, near_y - y)
        if away > dp(2 * theme.GAP):
            Color(*look().quiet)
            part = dp(theme.GAP) / away
            Line(points=[x + (near_x - x) * part, y + (near_y - y) * part, near_x, near_y], width=1)

    @property
    def _label_size(self) -> float:
        """Labels on the plan grow less than other text: they must still stand beside each other."""
        return look().mark

    def _box(self, text: str, x: float, y: float) -> tuple[float, float, float, float]:
        """Where a label centred at (x, y) would be, held inside the view."""
        w, h = text_width(text, self._label_size) + 2, self._label_size * 1.2
        left = min(max(x - w / 2, self.x), max(self.right - w, self.x))
        low = min(max(y - h / 2, self.y), max(self.top - h, self.y))
        return left, low, left + w, low + h

    def _is_nearest(self, box: tuple[float, float, float, float], own: tuple[float, float]) -> bool:
        """Whether a label there is nearer to its own light than to any other."""
        left, low, right, high = box

        def away(at: tuple[float, float]) -> float:
            return hypot(at[0] - min(max(at[0], left), right), at[1] - min(max(at[1], low), high))

        return all(away(own) <= away(place) for place in self._places)

    def _write(self, text: str, x: float, y: float, size: float, colour: Any) -> None:
        """Write a line centred at (x, y), held inside the view, on a patch of the ground colour."""
        left, low, right, high = self._box(text, x, y)
        Color(*look().ground[:3], 0.72)
        Rectangle(pos=(left - 2, low), size=(right - left + 4, high - low))
        Color(*colour)
        self.write(text, left, (low + high) / 2, size, anchor=0.0)


def _along(a: tuple[float, float], b: tuple[float, float], r: float) -> list[tuple[float, float, float, float]]:
    """Small boxes along a line."""
    count = max(int(hypot(b[0] - a[0], b[1] - a[1]) / (2 * r)), 1)
    parts = [(a[0] + (b[0] - a[0]) * n / count, a[1] + (b[1] - a[1]) * n / count) for n in range(count + 1)]
    return [(x - r, y - r, x + r, y + r) for x, y in parts]


def _meets(box: tuple[float, float, float, float], others: list[tuple[float, float, float, float]]) -> bool:
    left, low, right, high = box
    return any(right > l2 and r2 > left and high > b2 and t2 > low for l2, b2, r2, t2 in others)
