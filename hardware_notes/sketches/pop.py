"""Pops from any board with a converter, MicroPython: one line a flash.  Never run on hardware."""

import time

from machine import ADC, Pin

FULL_LX, DARK, RISE = 200000.0, 1300, 1500  # light at code 65535, code in the dark, codes that are a flash
LX = FULL_LX / 65535
light = ADC(Pin(26))

while True:
    rest, told = light.read_u16(), time.ticks_us()
    if rest - DARK > RISE:
        continue  # lit already: wait
    while (code := light.read_u16()) < DARK + RISE:
        if time.ticks_diff(time.ticks_us(), told) > 400000:  # that it is there, and the room's light
            rest, told = code, time.ticks_us()
            print("pops\n%.1f lx" % (max(rest - DARK, 0) * LX))
    codes, begun = [code], time.ticks_us()
    while time.ticks_diff(time.ticks_us(), begun) < 10000:
        codes.append(light.read_u16())
    step_s = 0.01 / len(codes)
    top = max(codes) - rest
    lasts = sum(1 for code in codes if code - rest > top / 10) * step_s
    full = " clipped" if top + rest > 65000 else ""
    print("pop %.4g lxs t01 %.4g peak %.4g" % (sum(code - rest for code in codes) * step_s * LX, lasts, top * LX) + full)
