"""What a sensor and its pops have to say: its connection, its battery, the range that it goes to, why a pop gives no figures."""

from __future__ import annotations

PHRASES: dict[str, str] = {
    # the sensor
    "not_started": "not started",
    "looking": "looking for the sensor on {url}",
    "disconnected": "disconnected",
    "silent": "{sensor:sensor} is connected and sends nothing: reset it, or check its battery",
    "the_sensor": "the sensor",
    "sends_again": "{sensor:sensor} sends again",
    "connected_flash": "{sensor:sensor} ({id}) is connected, sees flash and steady light",
    "connected_steady": "{sensor:sensor} ({id}) is connected, sees steady light only: it cannot meter a pop",
    "nothing_answers": "nothing that is a known sensor answers on {url}: check the port and its speed, or {do}",
    "battery_low": "the sensor's battery is at {left:.0%}: charge it soon",
    "own_reference":
        "light is measured against the chip's own reference, known to ±{tolerance:.0%}: ratios are right, f-numbers may be off by "
        "as much until '{do}'",
    "unknown_supply":
        "this calibration does not know the supply that it was made at: calibrate anew, or f-numbers may be off by up to 0.15 stop",
    # what was heard on an unknown port, and what a sensor that speaks so can do
    "baud": "{baud} baud",
    "data_bits": "{bits} bits",
    "parity": "{parity} parity",
    "plain_lx": "{lx:.6g} lx",
    "an_overload": "an overload",
    "a_second": "{rate:.2g} a second",
    "of_them": "{count} of them",
    "heard_frames": "{where}, frames of our own wire format with good check sums from {who}",
    "heard_answers": "{where}, answers with good check sums to questions in {dialect}, such as {value}",
    "heard_lines": "{where}, lines such as `{line}`, {rate}",
    "unit_assumed": "no unit is stated, {unit} is assumed",
    "nothing_heard": "nothing was heard: check that the sensor is switched on and sends by itself",
    "no_lines_heard":
        "{count} bytes were heard at {where}, but no lines of text at any speed that was tried: look up the sensor's speed and "
        "give it with baud=",
    "board_says": "the board sends no readings, but says: {remark}",
    "unknown_lines": "{where}, lines such as `{line}` that no known dialect fits: {advice}",
    "save_draft": "save the draft as a .toml file, check it, and give it with dialect=",
    "describe_lines": "describe them in a .toml file like the shipped ones and give it with dialect=",
    "tells_steady":
        "sees steady light only and cannot meter a pop; use it for modelling or continuous light, room light and evenness",
    "tells_flash": "meters flash and steady light",
    "tells_figures": "meters flash and steady light; it sends no waveform, so a pop's figures are believed as they come",
    "light_chip": "a light chip of the {family} family, up to {most}",
    # a pop, and the range of the next
    "once_more": "{what}: one more pop, please",
    "clips_now_on": "clips: now on the {range:range} range, one more pop, please",
    "clips_on_widest": "clips on its widest range: lower the power or meter further away",
    "clips": "clips: lower the power or meter further away",
    "clips_here": "clips: too bright for this range",
    "small_now_on": "too small: now on the {range:range} range, one more pop, please",
    "too_dim_to_read": "too dim to read: raise the power or meter nearer to the light",
    "range_number": "number {number}",
    "no_number": "the sensor sent no number",
    "pops_not_kept": "{lost} pop(s) before number {pop} came too soon after another and were not kept: wait a second between pops",
    "missing_data": "a pop was seen, but its data did not arrive whole: one more pop, please",
    "while_sent": "another flash came right after this one, while it was being sent: one more pop, please",
    "before_named": "a pop came before the sensor had said who it is: one more pop, please",
    # a waveform without figures
    "not_fallen_back": "the light had not fallen back when the memory was full: use a longer sample interval",
    "part_missing": "a part of the pop is missing in the record",
    "beyond_own_scale": "the waveform has samples beyond its own full scale",
    "nothing_stands_out": "no flash stands out of the room's light in this waveform",
    "pulses_untold": "cannot tell: the light pulses, and no quiet stretch before or after says whether it is a flash",
    "hardly_fallen": "the light has hardly begun to fall when the record ends: the flash is too long for it",
    "lamp_stays": "the light rises and stays: no pop in this record (was a lamp switched on?)",
    "negative_light": "waveform holds negative light ({level:.3g} lx): check the dark offset of the calibration",
    "no_quiet": "waveform has no quiet sample before or after the pulse: record more around it",
    # what is to be said of a waveform's figures
    "steady_light": "steady light, no pop in it",
    "light_flickers": "steady light that flickers at {hz:.0f} Hz, modulation {modulation:.0%}",
    "saturated": "the sensor is saturated: take the reading on its less sensitive range",
    "begins_inside": "the record begins inside the pop: what came before is missing",
    "duration_untold": "{duration} cannot be told from this pop: too few samples inside it, or too weak",
    "extrapolated": "the record ends before the light has fallen back: {share:.0%} of the exposure is extrapolated",
    "room_fell":
        "the ambient light fell by {change_lx:lx} during the pop (a modelling lamp?): the exposure may be off by up to "
        "{doubt_lxs:lxs}",
    "room_rose":
        "the ambient light rose by {change_lx:lx} during the pop (a modelling lamp?): the exposure may be off by up to "
        "{doubt_lxs:lxs}",
    "room_flickers": "the room light flickers at {hz:.0f} Hz; it is subtracted",
    "no_quiet_before": "no quiet sample before the pop: the ambient level is taken from after it",
    "few_samples": "few samples inside t0.1 ({count}): the durations are uncertain",
    "pre_flash_left_out": "a pre-flash of {share:.0%} came {lead_ms:.3g} ms earlier; it is not counted",
    "two_in_it": "two flashes {apart_ms:.3g} ms apart are in it; the weaker has {share:.0%} of the light",
    "train_resolved": "a train of {count} pulses: durations run from the first rise to the last fall",
    "train_unresolved": "a train of pulses faster than the samples: its mean level counts, its peak does not",
    "bounds_only": "the sensor clipped: these numbers are bounds",
    "may_have_stopped":
        "too few samples to tell whether the amplifier stopped at the top: what may be missing is in the uncertainty",
    "window_keeps": "the shutter window keeps {share:.0%} of the flash",
}
