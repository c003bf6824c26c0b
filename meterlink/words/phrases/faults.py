"""What ``verify`` and ``sensor-test`` find: rows, figures, and the names of faults with what to do about each."""

from __future__ import annotations

from meterlink.words.language import marked

FAULTS = {
    marked("swapped resistors"): marked(
        "the feedback resistors, or the two gain wires, are in each other's place: change them over"
    ),
    marked("wrong resistor"): marked("measure both feedback resistors: one is not what the parts list says"),
    marked("range clips early"): marked(
        "the amplifier gives way before the converter does: measure its supply, look for a load on its output and "
        "for a reference above the supply; until then trust nothing above the level named"
    ),
    marked("not linear"): marked(
        "the diode works against a voltage: check that it sits between the amplifier's two inputs and that nothing is "
        "in series with it"
    ),
    marked("mains hum"): marked("shield the diode's leads, twist the cable, ground the housing, run from a battery and try again"),
    marked("loose contact"): marked("re-solder the diode and the feedback parts, press on each joint and watch the figure"),
    marked("dark offset"): marked(
        "the diode is the wrong way round, damaged or dirty (flux between its pins): turn, clean, replace"
    ),
    marked("zero not lifted"): marked(
        "the divider at the amplifier's plus input is missing, shorted or of the wrong values: measure there"
    ),
    marked("light leak"): marked("light enters beside the dome: paint the housing black inside, seal the seam, cap again"),
    marked("leaky dome"): marked("light reaches the diode around the dome's rim: raise the dark collar and blacken the rim"),
    marked("flat in place of dome"): marked("a disk is mounted, or the dome is far too shallow: mount the dome"),
    marked("wrong angle response"): marked("move the diode up or down behind the receptor, see receptors.md, and test again"),
    marked("slow amplifier"): marked(
        "the feedback capacitor is too large (a wrong decade is common): measure it, see the parts list"
    ),
    marked("dome plane"): marked("the mark on the housing is not where the dome's reference plane is: move the mark by the figure"),
    marked("drift"): marked("let the sensor warm up for five minutes; if it stays, the diode or the reference is damaged"),
    marked("bytes arrive damaged"): marked("another cable, no hub, the cable away from the flash's; over Bluetooth come nearer"),
    marked("amplifier at its end"): marked(
        "its output stands at the supply: the diode is shorted or not between the two inputs, the feedback resistor is open, or "
        "the plus input is not at its divider: measure there"
    ),
    marked("diode reversed"): marked("light lowers the output: turn the diode round"),
    marked("diode not connected"): marked(
        "light changes nothing: check both of the diode's joints, then the feedback resistor; is the dome opaque?"
    ),
    marked("chip sees no light"): marked(
        "light changes nothing: is the dome opaque, the chip turned round, or another board's line read?"
    ),
    marked("range does not switch"): marked(
        "both ranges show the same: check the gain wires and the switch between board and resistors"
    ),
    marked("no pop is seen"): marked(
        "hold the dome at a head's glass once; if it still sees none, the program on the board is old or not ours"
    ),
    marked("pops do not arrive whole"): marked(
        "the board restarts or its cable fails when the head fires: a battery, a shorter cable"
    ),
    marked("supply"): marked("the board's supply is far from that of its calibration: another port or cable, no hub"),
    marked("reference does not hold"): marked(
        "3.3 V by the converter's own reference are not 3.3 V: measure both; the reference is missing, turned round or loaded"
    ),
    marked("board too slow"): marked(
        "light came faster than the board looked at it, so pops may pass unseen: a lower rate_khz in its settings, and reset it"
    ),
    marked("battery low"): marked("charge or change it before anything else"),
}

PHRASES: dict[str, str] = {
    **{f"remedy of {name}": remedy for name, remedy in FAULTS.items()},
    "messages_damaged": marked("{damaged} of {total} messages damaged"),
    "levels": marked("{levels:,} of the range"),
    "supply_off": marked("{stops:+.2f} stop from the calibration's"),
    "reference_volt": marked("{volt:.2f} V by the converter's reference"),
    "chip_warmth": marked("{degrees:.0f} °C in its chip"),
    "dark_and_torch": marked("{dark} in the dark and {torch} under a torch"),
    "torch_ratio": marked("one torch is {found:.2g} times as much on range {name}, by design {factor:.3g} times"),
    "levels_zero": marked("{levels:,} of the range (about {zero:.0%} belongs there)"),
    "dark_part": marked("{part:.0%} of the range in the dark"),
    "torch_lowers": marked("a torch takes it from {dark:.1%} down to {torch:.1%}"),
    "dark_wavers": marked("the dark wavers by ±{part:.1%} of the range"),
    "nothing_in": marked("nothing in {seconds:.0f} s"),
    "flash_lasts": marked("a flash seems to last {ms:.0f} ms (t0.5)"),
    "times_held_up": marked("held up {count} times since its start"),
    "no_figure": marked("no figure"),
    "none_seen": marked("none seen"),
    "lux_in_dark": marked("{lux:lx} in the dark"),
    "twice_apart": marked("the same flash twice, {apart:.1f} stop apart (had it recharged?)"),
    "zero_off": marked("{dark:.1%} in the dark, {zero:.0%} is where the zero belongs"),
    "part": marked("{part:.1%}"),
    "charge": marked("{part:.0%}"),
    "lux": marked("{lux:lx}"),
    "pop_seen": marked("{exposure:.3g} lx·s"),
    "dash": marked("–"),
    "other_is_sensitive": marked("the sensitive range is the other one ({stops:+.1f} stops from the design)"),
    "ratio_off": marked("the ranges' ratio is {stops:+.2f} stop from the design"),
    "torch_wavers": marked("a battery torch seems to waver by ±{part:.0%}"),
    "pop_scatters": marked("the same pop scatters by {stops:.2f} stop although nothing moved"),
    "dark_off": marked("{part:.1%} of full scale in the dark, {zero:.0%} is where the zero belongs"),
    "lux_under_cap": marked("{lux:lx} under the cap"),
    "through_cap": marked("{part:.1%} of full scale through the cap with the room lit"),
    "dark_moved": marked("the dark moved by {part:+.1%} of full scale during the walk"),
    "cut_flat": marked("the pulse is cut off flat at {part:.0%} of the range"),
    "peaks_short": marked("peaks of two lights add up to {stops:.2f} stop too little, {bottom:.2f} at the bottom too"),
    "pulse_ends": marked("the pulse of two lights ends at {part:.0%} of the range, {stops:.2f} stop short"),
    "together_short": marked("two lights together read {stops:.2f} stop too little, at the bottom too"),
    "together_short_top": marked("two lights together read {stops:.2f} stop too little at the top, right below"),
    "side_dark": marked("{stops:+.1f} stop at the side, where a disk sees nothing"),
    "from_behind": marked("{stops:+.1f} stop from behind beyond what the front lets expect"),
    "off_at": marked("{stops:+.2f} stop at {degrees:g} degrees"),
    "flash_lasts_us": marked("the shortest flash seems to last {us:.0f} µs (t0.5)"),
    "plane_behind": marked("the inverse-square law puts it {off:.1f} cm behind its mark"),
    "plane_before": marked("the inverse-square law puts it {off:.1f} cm before its mark"),
    "row_supply": marked("supply as reference against its calibration, corrected"),
    "row_hum": marked("light of a battery torch wavers"),
    "row_repeat": marked("spread of one pop"),
    "row_short": marked("t0.5 of a flash at lowest power"),
    "row_dark_lux": marked("dark of range {name}"),
    "row_dark": marked("dark of range {name} against the lifted zero"),
    "row_leak": marked("light through the capped housing"),
    "row_drift": marked("dark after the walk against before"),
    "row_add_hi": marked("two lights against their sum, top of range {name}"),
    "row_add_lo": marked("two lights against their sum, bottom of range {name}"),
    "row_overlap": marked("range {fine} against range {coarse}, by design {factor:.3g} times"),
    "row_distance": marked("bare bulb over distance"),
    "row_origin": marked("dome plane against its mark"),
    "row_departure": marked("departure from the law at {far:g} m"),
    "row_response": marked("angular response"),
    "row_angle": marked("light from {degrees:g} degrees"),
    "row_index": marked("{receptor:receptor} against the ideal"),
    "row_rim": marked("light around the dome's rim, from behind"),
}
