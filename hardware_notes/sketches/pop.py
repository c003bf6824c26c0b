"""Pops from any board with a converter, MicroPython: one line a flash.  Never run on hardware."""

import time

from machine import ADC, Pin

FULL_LX, DARK, RISE = 200000.0, 1300, 1500  # light at code 65535, code in the dark, codes that are a flash
light = ADC(Pin(26))

while True:
    rest = light.read_u16()
    if rest - DARK > RISE:
        continue  # lit already: wait
    while (code := light.read_u16()) < DARK + RISE:
        pass
    codes, begun = [code], time.ticks_us()
    while time.ticks_diff(time.ticks_us(), begun) < 10000:
        codes.append(light.read_u16())
    step_s = 0.01 / len(codes)
    top = max(codes) - rest
    lasts = sum(1 for code in codes if code - rest > top / 10) * step_s
    lx = FULL_LX / 65535
    print("pop %.4g lxs t01 %.4g peak %.4g" % (sum(code - rest for code in codes) * step_s * lx, lasts, top * lx))
