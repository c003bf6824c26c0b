"""What ``verify`` and ``sensor-test`` find: rows, figures, and the names of faults with what to do about each."""

from __future__ import annotations

FAULTS = {
    "swapped resistors": "the ranges are in each other's place: look at what switches between them, and at the feedback resistors",
    "wrong resistor": "measure both feedback resistors: one is not what the parts list says",
    "range clips early":
        "the amplifier gives way before the converter does: measure its supply, look for a load on its output and for a reference "
        "above the supply; until then trust nothing above the level named",
    "not linear":
        "the diode works against a voltage: check that it sits between the amplifier's two inputs and that nothing is in series "
        "with it",
    "mains hum": "shield the diode's leads, twist the cable, ground the housing, run from a battery and try again",
    "loose contact":
        "press on each leg and joint of the diode and the feedback parts and watch the figure: seat or solder anew the one that "
        "moves it",
    "dark offset": "the diode is the wrong way round, damaged or dirty (flux between its pins): turn, clean, replace",
    "zero not lifted": "the divider at the amplifier's plus input is missing, shorted or of the wrong values: measure there",
    "light leak": "light enters beside the dome: paint the housing black inside, seal the seam, cap again",
    "leaky dome": "light reaches the diode around the dome's rim: raise the dark collar and blacken the rim",
    "flat in place of dome": "a disk is mounted, or the dome is far too shallow: mount the dome",
    "wrong angle response": "move the diode up or down behind the receptor, see receptors.md, and test again",
    "slow amplifier": "the feedback capacitor is too large (a wrong decade is common): measure it, see the parts list",
    "dome plane": "the mark on the housing is not where the dome's reference plane is: move the mark by the figure",
    "drift": "let the sensor warm up for five minutes; if it stays, the diode or the reference is damaged",
    "bytes arrive damaged": "another cable, no hub, the cable away from the flash's; over Bluetooth come nearer",
    "amplifier at its end":
        "its output stands at the supply: the diode is shorted or not between the two inputs, the feedback resistor is open, or "
        "the plus input is not at its divider: measure there",
    "diode reversed": "light lowers the output: turn the diode round",
    "diode not connected":
        "light changes nothing: check both of the diode's joints, then the feedback resistor; is the dome opaque?",
    "chip sees no light": "light changes nothing: is the dome opaque, the chip turned round, or another board's line read?",
    "range does not switch":
        "both ranges show the same: check the range wire, the switch, and whether the two feedback resistors were changed over",
    "no pop is seen": "hold the dome at a head's glass once; if it still sees none, the program on the board is old or not ours",
    "pops do not arrive whole": "the board restarts or its cable fails when the head fires: a battery, a shorter cable",
    "supply": "the board's supply is far from that of its calibration: another port or cable, no hub",
    "reference does not hold":
        "3.3 V by the converter's own reference are not 3.3 V: measure both; the reference is missing, turned round or loaded",
    "board too slow":
        "light came faster than the board looked at it, so pops may pass unseen: a lower rate_khz in its settings, and reset it",
    "battery low": "charge or change it before anything else",
}

PHRASES: dict[str, str] = {
    **{f"remedy of {name}": remedy for name, remedy in FAULTS.items()},
    "messages_damaged": "{damaged} of {total} messages damaged",
    "levels": "{levels:,} of the range",
    "supply_off": "{stops:+.2f} stop from the calibration's",
    "reference_volt": "{volt:.2f} V by the converter's reference",
    "chip_warmth": "{degrees:.0f} °C in its chip",
    "dark_and_torch": "{dark} in the dark and {torch} under a torch",
    "torch_ratio": "one torch is {found:.2g} times as much on range {name:range}, by design {factor:.3g} times",
    "levels_zero": "{levels:,} of the range (about {zero:.0%} belongs there)",
    "dark_part": "{part:.0%} of the range in the dark",
    "torch_lowers": "a torch takes it from {dark:.1%} down to {torch:.1%}",
    "dark_wavers": "the dark wavers by ±{part:.1%} of the range",
    "nothing_in": "nothing in {seconds:.0f} s",
    "flash_lasts": "a flash seems to last {ms:.0f} ms (t0.5)",
    "times_held_up": "held up {count} times since its start",
    "no_figure": "no figure",
    "none_seen": "none seen",
    "lux_in_dark": "{lux:lx} in the dark",
    "twice_apart": "the same flash twice, {apart:.1f} stop apart (had it recharged?)",
    "zero_off": "{dark:.1%} in the dark, {zero:.0%} is where the zero belongs",
    "part": "{part:.1%}",
    "charge": "{part:.0%}",
    "pop_seen": "{exposure:.3g} lx·s",
    "other_is_sensitive": "the sensitive range is the other one ({stops:+.1f} stops from the design)",
    "ratio_off": "the ranges' ratio is {stops:+.2f} stop from the design",
    "torch_wavers": "a battery torch seems to waver by ±{part:.0%}",
    "pop_scatters": "the same pop scatters by {stops:.2f} stop although nothing moved",
    "dark_off": "{part:.1%} of full scale in the dark, {zero:.0%} is where the zero belongs",
    "lux_under_cap": "{lux:lx} under the cap",
    "through_cap": "{part:.1%} of full scale through the cap with the room lit",
    "dark_moved": "the dark moved by {part:+.1%} of full scale during the walk",
    "cut_flat": "the pulse is cut off flat at {part:.0%} of the range",
    "peaks_short": "peaks of two lights add up to {stops:.2f} stop too little, {bottom:.2f} at the bottom too",
    "pulse_ends": "the pulse of two lights ends at {part:.0%} of the range, {stops:.2f} stop short",
    "together_short": "two lights together read {stops:.2f} stop too little, at the bottom too",
    "together_short_top": "two lights together read {stops:.2f} stop too little at the top, right below",
    "side_dark": "{stops:+.1f} stop at the side, where a disk sees nothing",
    "from_behind": "{stops:+.1f} stop from behind beyond what the front lets expect",
    "off_at": "{stops:+.2f} stop at {degrees:g} degrees",
    "flash_lasts_us": "the shortest flash seems to last {us:.0f} µs (t0.5)",
    "plane_behind": "the inverse-square law puts it {off:.1f} cm behind its mark",
    "plane_before": "the inverse-square law puts it {off:.1f} cm before its mark",
    "row_supply": "supply as reference against its calibration, corrected",
    "row_hum": "light of a battery torch wavers",
    "row_repeat": "spread of one pop",
    "row_short": "t0.5 of a flash at lowest power",
    "row_dark_lux": "dark of range {name:range}",
    "row_dark": "dark of range {name:range} against the lifted zero",
    "row_leak": "light through the capped housing",
    "row_drift": "dark after the walk against before",
    "row_add_hi": "two lights against their sum, top of range {name:range}",
    "row_add_lo": "two lights against their sum, bottom of range {name:range}",
    "row_overlap": "range {fine:range} against range {coarse:range}, by design {factor:.3g} times",
    "row_distance": "bare bulb over distance",
    "row_origin": "dome plane against its mark",
    "row_departure": "departure from the law at {far:g} m",
    "row_response": "angular response",
    "row_angle": "light from {degrees:g} degrees",
    "row_index": "{receptor:receptor} against the ideal",
    "row_rim": "light around the dome's rim, from behind",
}
