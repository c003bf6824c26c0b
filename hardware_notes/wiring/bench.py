"""Drawings of receptors and test set-ups."""

from __future__ import annotations

from hardware_notes.wiring.sheet import INK, NOTE, Sheet


def receptors() -> str:
    """Section through dome and disk, with the reference planes."""
    s = Sheet(980, 470, "Dome and disk, in section")
    for x, name in ((60, "dome"), (530, "flat disk")):
        s.text(x, 80, name, size=15, bold=True)
        s.path(f"M{x + 40} 290v90h260v-90h-38v40h-184v-40z", fill="#2b3640")
        s.text(x + 170, 362, "housing, black inside", anchor="middle", colour="#ffffff")
        s.path(f"M{x + 96} 322h148", width=3)
        s.text(x + 306, 326, "gel (three stops)", size=12, colour=NOTE)
        s.wire((x + 302, 322), (x + 244, 322), width=1)
        s.path(f"M{x + 150} 330v14h40v-14z", fill="#c9d2da")
        s.text(x + 306, 346, "photodiode", size=12, colour=NOTE)
        s.wire((x + 302, 342), (x + 192, 338), width=1)
    s.path("M138 290a92 92 0 0 1 184 0h-8a84 84 0 0 0 -168 0z", fill="#eef1f3")
    s.path("M126 290v-16h12m184 0h12v16", width=3)
    s.text(340, 262, "dark collar, as high as", size=12, colour=NOTE)
    s.text(340, 278, "light from behind allows", size=12, colour=NOTE)
    s.wire((70, 290), (410, 290), dashed=True, width=1)
    s.text(370, 306, "rim: reference plane", size=12, colour=NOTE)
    s.path("M608 278h184v-10h-184z", fill="#eef1f3")
    s.path("M596 290v-14h12m184 0h12v14", width=3)
    s.text(812, 236, "disk stands 1 to 2 mm", size=12, colour=NOTE)
    s.text(812, 252, "above the collar", size=12, colour=NOTE)
    s.wire((540, 268), (880, 268), dashed=True, width=1)
    s.text(540, 258, "reference plane: face of the disk", size=12, colour=NOTE)
    s.notes(60, 420, (
        "Dome: half a sphere, 25 to 40 mm across, white opal, 1.5 to 2 mm thick; diode half the radius below its rim.",
        "Disk: white opal or two layers of matt drafting film, edge of 1 to 2 mm free so that light from the side enters.",
    ))  # fmt: skip
    return s.svg()


def turntable() -> str:
    """Angular response: from above."""
    s = Sheet(980, 470, "Angular response, seen from above")
    s.path("M300 150a120 120 0 1 0 0.1 0z", fill="#f3f5f7")
    for i in range(24):
        s.parts.append(
            f'<line x1="300" y1="150" x2="300" y2="{164 if i % 2 else 170}" stroke="{INK}" transform="rotate({15 * i} 300 270)"/>'
        )
    s.parts.append('<g transform="rotate(50 300 270)">')
    s.path("M284 314v-44a16 16 0 0 1 32 0v44z", fill="#c9d2da")
    s.wire((300, 254), (300, 96), dashed=True)
    s.parts.append("</g>")
    s.dot(300, 270)
    s.text(436, 150, "axis of the dome")
    s.text(166, 236, "rim of the dome over", size=12, anchor="end", colour=NOTE)
    s.text(166, 252, "the middle of the table", size=12, anchor="end", colour=NOTE)
    s.wire((172, 244), (296, 269), width=1)
    s.path("M300 270H820", width=1)
    s.path("M390 270a90 90 0 0 0 -21 -58", width=1.8)
    s.text(340, 256, "angle")
    s.box(820, 240, 110, 60, "small lamp")
    s.text(600, 262, "at least 2 m, lamp fixed", anchor="middle", colour=NOTE)
    s.notes(60, 420, (
        "Lamp and table stay; only the table turns. Black cloth behind the sensor and beside the path.",
        "Both sides, and 0 degrees first and last: the fit finds the zero of your scale, and drift shows.",
    ))  # fmt: skip
    return s.svg()


def distances() -> str:
    """Inverse square: from the side."""
    s = Sheet(980, 420, "Bare bulb over distance, seen from the side")
    s.path("M40 330H940", width=2.4)
    s.path("M120 330v-150", width=4)
    s.path("M120 180m-14 0a14 14 0 1 1 28 0a14 14 0 1 1 -28 0", fill="#f7e3a1")
    s.text(120, 150, "bare bulb, fixed", anchor="middle")
    for d in (0.5, 0.7, 1.0, 1.4, 2.0, 2.8):
        x = 120 + 280 * d
        s.wire((x, 330), (x, 210), width=1)
        s.path(f"M{x} 194a12 12 0 0 1 0 -24z", fill="#c9d2da")
        s.text(x, 352, f"{d:g} m", anchor="middle")
    s.notes(60, 388, (
        "Tape from the bulb's middle to the dome's reference plane. Room dark, nothing light-coloured within a metre of the path.",
        "The bulb is hot and may burst: glasses on, let it cool; never look into it while it fires.",
    ))  # fmt: skip
    return s.svg()


DRAWINGS = {"receptors.svg": receptors, "turntable.svg": turntable, "distances.svg": distances}
