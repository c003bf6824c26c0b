"""What a screen must be like: no two texts on each other, nothing cut, targets for a finger, contrast in the pixels."""

from __future__ import annotations

from typing import Any

import numpy as np

from tests.touch.hands import Screen, Thing, common

TARGET = 48
SMALLEST_TEXT = 14
GLANCE = 60
"""Letters that a line on the metering page may have."""
SHORT = 6
"""A word of so many letters has room in any line that a page may make."""
SLACK = 1.5
"""Pixels by which boxes may differ: anti-aliasing and rounding."""
FLOATING = ("finger_note", "undo_text", "undo", "explain")
"""Stands over the page for a moment, on a face of its own."""


def _over(a: Thing, b: Thing) -> bool:
    left, top, right, bottom = common(common(a.ink, a.clip), common(b.ink, b.clip))
    return right - left > SLACK and bottom - top > SLACK + 0.2 * min(a.font_px or 16, b.font_px or 16)


def overlaps(screen: Screen) -> list[str]:
    """Two texts whose letters meet.  (A line's box has room above and below the letters: a fifth of it may meet.)"""
    texts = [one for one in screen.texts if not one.name.startswith(FLOATING) and one.font_px]
    return [
        f"{screen.place}: {a.text!r} and {b.text!r} lie on each other"
        for i, a in enumerate(texts)
        for b in texts[i + 1 :]
        if _over(a, b)
    ]


def beside(screen: Screen) -> list[str]:
    """Texts and targets that leave the window sideways, or above and below without a page that scrolls."""
    found = []
    for one in screen.things:
        if not (one.text or one.target) or one.name.startswith(FLOATING) or one.seen == 0:
            continue
        left, top, right, bottom = one.ink if one.text else one.box
        scrolls = one.clip != (0.0, 0.0, float(screen.width), float(screen.height))
        if left < one.clip[0] - SLACK or right > one.clip[2] + SLACK:
            found.append(f"{screen.place}: {one.name or one.text!r} is cut sideways: {left:.0f} to {right:.0f}")
        if not scrolls and (top < -SLACK or bottom > screen.height + SLACK):
            found.append(f"{screen.place}: {one.name or one.text!r} is cut: {top:.0f} to {bottom:.0f}")
    return found


def cut(screen: Screen) -> list[str]:
    """Letters that are higher or wider than the thing that they stand in."""
    found = []
    for one in screen.texts:
        if one.drawn or not one.font_px:
            continue
        if one.ink[2] - one.ink[0] > one.box[2] - one.box[0] + SLACK or (
            one.ink[3] - one.ink[1] > one.box[3] - one.box[1] + 0.25 * one.font_px
        ):
            found.append(f"{screen.place}: {one.text!r} does not fit its box")
    return found


def small(screen: Screen) -> list[str]:
    """Targets below 48 dp and texts below 14 dp."""
    found = []
    for one in screen.things:
        width, height = one.box[2] - one.box[0], one.box[3] - one.box[1]
        if one.target and one.seen > 0.05 and min(width, height) < TARGET - 0.6:
            found.append(f"{screen.place}: {one.name or one.text!r} is only {width:.0f} x {height:.0f}")
        if one.text and one.font_px and one.seen > 0.05 and one.font_px < SMALLEST_TEXT - 0.05:
            found.append(f"{screen.place}: {one.text!r} is only {one.font_px:.1f} dp high")
    return found


def long_lines(screen: Screen) -> list[str]:
    """Sentences that are longer than a glance."""
    return [one.text for one in screen.texts if len(one.text) > GLANCE]


def many_next(screen: Screen) -> list[str]:
    """More than one thing with the face of the one thing to do next."""
    strong = [one.name for one in screen.things if one.strong and one.target and one.seen > 0.05]
    return [f"{screen.place}: {' and '.join(strong)} are all the next thing to do"] if len(strong) > 1 else []


def torn(screen: Screen, longest: int = SHORT) -> list[str]:
    """Words of up to so many letters (a light's name, a figure) of which half stands in one line and half in the next."""
    found = [one for one in screen.things if one.seen > 0.05 and 0 < len(one.torn) <= longest]
    return [f"{screen.place}: {one.torn!r} of {one.name or one.text!r} is torn apart" for one in found]


def problems(screen: Screen) -> list[str]:
    """Everything that is wrong with a screen, in words."""
    return overlaps(screen) + beside(screen) + cut(screen) + small(screen) + many_next(screen) + torn(screen)


def contrast_of(image: Any, thing: Thing) -> float:
    """Contrast (WCAG 2.2's ratio) between a text's most frequent colour and the one farthest from it, in the pixels."""
    left, top, right, bottom = common(thing.ink, thing.clip)
    part = np.asarray(image.crop((int(left), int(top), int(right) + 1, int(bottom) + 1)).convert("RGB"), np.uint32)
    colours, counts = np.unique(part[..., 0] << 16 | part[..., 1] << 8 | part[..., 2], return_counts=True)
    rgb = np.stack([colours >> 16, colours >> 8 & 255, colours & 255], axis=-1)
    ground = rgb[counts.argmax()]
    # The ink: not a stray pixel, but a colour that is there several times.
    return float(max(ratio(ground, rgb[counts >= 3]).max(initial=1.0), 1.0))


def ratio(a: Any, b: Any) -> Any:
    """Contrast ratio of two colours, or of one with many (WCAG 2.2), worked out here and not by the app."""
    high, low = _luminance(a) + 0.05, _luminance(b) + 0.05
    return np.maximum(high, low) / np.minimum(high, low)


def _luminance(colour: Any) -> Any:
    parts = np.asarray(colour, float) / 255
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4) @ (0.2126, 0.7152, 0.0722)


def faint(screen: Screen, image: Any) -> list[str]:
    """Texts whose contrast in the pixels is below 4.5:1 (3:1 from 24 dp on)."""
    found = []
    for one in screen.texts:
        if not one.font_px or one.seen < 0.9:
            continue
        seen = contrast_of(image, one)
        if seen < (3.0 if one.font_px >= 24 else 4.5) - 0.35:  # anti-aliasing takes some of a thin stroke's colour
            found.append(f"{screen.place}: {one.text!r} has a contrast of {seen:.1f}")
    return found


def blocks_of(image: Any, box: tuple[float, float, float, float], columns: int = 24, rows: int = 8) -> list[int]:
    """What is drawn inside a box, as the ink of a raster laid over it from the first inked column to the last (0 to 9 each)."""
    grey = image.convert("L").crop(tuple(round(v) for v in box))
    ground = max(grey.getcolors(1 << 16))[1]
    ink = grey.point([min(abs(v - ground) * 3, 255) if abs(v - ground) > 24 else 0 for v in range(256)])
    inside = ink.getbbox()
    if inside is None:
        return [0] * (columns * rows)
    return [round(v * 9 / 255) for v in ink.crop(inside).resize((columns, rows), 4).tobytes()]
