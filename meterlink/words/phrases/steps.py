"""Steps of the walks of ``calibrate``, ``verify`` and ``sensor-test``: what to do, and what became of it."""

from __future__ import annotations

PHRASES: dict[str, str] = {
    "caution_flash":
        "Flashing light can harm photosensitive people: say so before you start. Do not look into a bare tube, keep a metre away, "
        "and never open a flash: its capacitors hold a deadly charge long after it is unplugged.",
    "caution_bare_bulb":
        "A bare tube or modelling lamp is hot and breaks: let it cool before touching it, wear glasses, keep cloth and hands away.",
    "caution_hot_lamp":
        "A bright lamp is hot: let it stand free, nothing that burns within its maker's distance (half a metre if none is given), "
        "dome and reference under it no longer than a reading takes; a table-tennis ball or other celluloid never: it flares up.",
    "guide_step": "flash at {far:g} m",
    "do_guide": "The known flash at full power and its stated zoom, dome on its axis at {far:g} m, dark walls.",
    "do_cap": "An opaque cap on the dome, or a fist around it.",
    "do_torch": "Cap off. A phone's torch, lit, a hand's breadth from the dome; hold it still.",
    "do_two_pops": "Any flash at low power, a metre off; the same twice.",
    "dark_step": "dark, range {name:range}",
    "torch_step": "a torch, range {name:range}",
    "two_pops": "two pops",
    "wants_steady": "{step} wants steady light: not counted",
    "wants_pop": "{step} wants a pop: not counted",
    "step_done": "{step}: done",
    "taken_back": "taken back: {step}",
    "step_left_out": "left out: {step}",
    "fill_wanted": "fills {level:.0%} of the range, {low:.0%} to {high:.0%} is wanted: not counted; {way}",
    "step_more": "{step}: {left} more",
    "other_range": "this came on another range than {name:range}: not counted, once more",
    "no_dark":
        "that is light, not the dark: cap on and pressed down, black tape along the seam; not counted, once more (if it stays so: "
        "sensor-test tells why)",
    "not_whole": "the pop did not arrive whole: not counted, once more",
    "note_not_counted": "{note}: not counted",
    "too_bright_here": "too bright for this range: not counted; go further away or turn the power down",
    "too_dim_here": "too dim for this range: not counted; come nearer or turn the power up",
    "turn_up": "turn the power up",
    "turn_down": "turn the power down",
    "fill_least": "fills {level:.0%} of the range, at least {least:.0%} is wanted: not counted; more power or nearer",
    "lamp_too_dim": "{step}: too dim, left out",
    "lamp_beyond": "{said}: {part:.1%} of the most sensitive range is beyond the sensor, so the lamp is left out at this level",
    "lamp_left_out": "{step}: beyond the range, left out",
    "lamp_weighs_nothing": "{said}: {part:.1%} of the most sensitive range weighs nothing, so the lamp is left out at this level",
    "s_leaves_range": "s leaves this range out, the overlap ties it to the other",
    "level_step": "flash level {level}, range {name:range}",
    "do_level": "Power down, nothing else moves: {down}. Note its power as level {number}.",
    "do_reference": "The power as you noted it. Fire and type what it reads.",
    "reference_step": "reference at {light}",
    "lamp_reference_step": "reference at lamp {number}",
    "do_lamp_again": "The lamp as noted for lamp {number}: about {level:.0%} of the range.",
    "lamp_step": "lamp {number}, range {name:range}",
    "do_faint": "A light whose pops fill about {part:.0%} of range {name:range}; then nothing moves.",
    "do_first_level":
        "Dome where the reference will stand afterwards, aimed at the light, two metres off or more: as bright as about "
        "{part:.0%} of range {name:range}, or as bright as you have it. Note its power as level 1.",
    "below_before": "{stops:.1f} stop below the one before",
    "between_brightest": "between the brightest two",
    "down_about": "{down}, about {level:.0%} of the range",
    "do_first_lamp":
        "Reference still there. The brightest steady lamp at hand, warmed up, nothing else: whatever it gives. Type what the "
        "reference reads and note the dimmer as lamp 1; s goes without steady light.",
    "do_lamp": "The lamp dimmer by {stops:.1f} stop, about {lux:,.0f} lx. Type what it reads, note the dimmer.",
    "do_repeat_flash": "A pop that fills about half of a range. Nothing moves: the same pop again and again.",
    "do_repeat_steady": "A light that fills about half of a range. Nothing moves: the same light again and again.",
    "repeat_step": "repeats",
    "do_dark": "Put the opaque cap over the dome and wait for the figure to settle.",
    "do_overlap_flash": "One light, left alone between the two ranges; its pops nearly fill range {name:range}.",
    "do_overlap_steady": "One lamp, not touched between the two ranges, that nearly fills range {name:range}.",
    "hands_reference": "The meter changes hands: the reference in the dome's very place, aimed at the light. {then}",
    "hands_dome": "The meter changes hands: the dome in the reference's very place. {then}",
    "faint_step": "faint repeats",
    "overlap_step": "overlap on range {name:range}",
    "do_turn": "Turn the sensor so that the lamp stands {angle:turn} degrees off its axis; the dome stays in place.",
    "angle_again": "{angle:turn} degrees again",
    "angle_step": "{angle:turn} degrees",
    "do_only_lamp":
        "The reference in the dome's very place. The brightest steady lamp at hand, warmed up, nothing else: whatever it gives. "
        "Type what the reference reads and note the dimmer as lamp 1.",
    "leak_step": "light leaks",
    "do_leak": "Cap still on: switch the room and a modelling lamp on, close by.",
    "steadiness_step": "steadiness",
    "do_steadiness": "Cap off: a battery torch, nothing on the mains, at about half of the range.",
    "short_step": "shortest pulse",
    "do_short": "A small flash at its lowest power: its pulse is far shorter than a thousandth of a second.",
    "dark_step_again": "dark again, range {name:range}",
    "do_dark_room": "Put the opaque cap over the dome and darken the room.",
    "bulb_step": "bare bulb at {far:g} m",
    "do_bulb":
        "A bare bulb with no reflector, in the middle of the room, walls and floor dark; dome plane to bulb {far:g} m by tape, "
        "dome aimed at it, the lamp never touched. Type the distance if it is another.",
    "light_ab": "both lights together",
    "light_a": "first light alone",
    "light_b": "second light alone",
    "add_step_hi": "{what}, range {name:range}, top",
    "add_step_lo": "{what}, range {name:range}, bottom",
    "do_add": "Two lights, not of one generator, that fill about {part:.0%} of range {name:range} together; neither moves: {what}.",
    # with a camera and a grey card
    "do_first_level_camera":
        "Dome where the grey card will stand afterwards, aimed at the light, two metres off or more: as bright as about "
        "{part:.0%} of range {name:range}, or as bright as you have it. Note its power as level 1.",
    "hands_camera": "The grey card in the dome's very place, square to the light; the camera looks at it. {then}",
    "do_camera": "The power as you noted it. Fire into one frame in which the card comes out about middle grey.",
    "do_first_lamp_camera":
        "Card still there. The brightest steady lamp at hand, warmed up, nothing else: whatever it gives. Take one frame and note "
        "the dimmer as lamp 1; s goes without steady light.",
    "do_only_lamp_camera":
        "The grey card in the dome's very place; the camera looks at it. The brightest steady lamp at hand, warmed up, nothing "
        "else: whatever it gives. Take one frame and note the dimmer as lamp 1.",
    "do_lamp_camera": "The lamp dimmer by {stops:.1f} stop, about {lux:,.0f} lx. Take one frame, note the dimmer.",
    "hands_dome_camera": "The dome in the card's very place again. {then}",
}
