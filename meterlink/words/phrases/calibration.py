"""What a calibration has to say: which is in use, what is to be remembered of it, what its pairs are worth."""

from __future__ import annotations

PHRASES: dict[str, str] = {
    # which calibration is in use
    "used_borrowed": "calibration: none with the {receptor:receptor} receptor; f-numbers ± {off:.1f} stop",
    "used_assumed": "calibration: none, the design's values with the {receptor:receptor} receptor (C = {constant:g} lx)",
    "used_relative": "calibration {id}, {receptor:receptor}, {date}, without a reference: ratios only",
    "used_camera":
        'calibration {id}, {receptor:receptor}, {date}: right for "{reference}", f-numbers ± {off:.1f} stop with another camera',
    "used_reference": 'calibration {id}, {receptor:receptor}, {date}, against "{reference}": f-numbers ± {off:.2f} stop',
    "used": "calibration {id}, {receptor:receptor}, {date}: f-numbers ± {off:.2f} stop",
    # what is to be remembered of it
    "never_with":
        "never calibrated with the {receptor:receptor} receptor: the other receptor's ranges are used, f-numbers may be {off:.1f} "
        "stop off: {do}",
    "not_calibrated": "not calibrated: design values are used, f-numbers may be half a stop off: {do}",
    "of_another": "the calibration belongs to another sensor: choose this one's own or calibrate it",
    "ranges_changed": "the sensor's ranges have changed since it was calibrated: calibrate it again",
    "receptor_changed": "calibrated with the {made:receptor}, now the {receptor:receptor} is mounted: use its own calibration",
    "relative_only": "relative calibration: ratios are right, f-numbers are not absolute",
    "old": "calibrated {days:.0f} days ago: calibrate again, or check one pair against the reference",
    "in_the_future": "calibrated in the future by this clock: set the clock right",
    "other_warmth": "calibrated at {before:.0f} °C, now {now:.0f} °C: check the dark again",
    "no_angle": "angular response never tested, lights from the side may read wrong: {do}",
    # what a scale is worth
    "pairs_unlike":
        "range {range:range}: steady pairs say {gap:+.2f} stop against the flash pairs (the lamp's colour, mostly): the scale is "
        "that of the flash pairs",
    "relative_warning": "no reference was used: ratios are right, f-numbers are relative until a reference or a guide number is",
    # what a claim says beside its figures
    "claim_no_lamp":
        "no steady lamp was weighed, so none is claimed: another lamp's spectrum moves a filtered diode by 0.15 to 0.44 stop "
        "(spectral.md)",
    "claim_one_lamp":
        "steady light is that of {lamp}: another lamp's spectrum moves a filtered diode by 0.15 to 0.44 stop (spectral.md)",
    "claim_the_lamp": "the lamp that was used",
    "claim_lamp": "steady light is that of {lamp}",
    "claim_lamps": "steady light is that of {lamp}; it holds for {lamps} too",
    "claim_other_lamps": "other lamps read too bright (+) or too dark (-), in stops: {lamps}",
    "claim_plane": "dome and reference within 1 cm of one plane, lights {far:g} m off: {stops:.2f} stop, in every reading alike",
    "claim_few_pairs": "the ranges' own scales are known to {stops:.2f} stop only: calibrate again with more pairs",
    "claim_other_camera": "with another camera or lens f-numbers may be {stops:.1f} stop off (k=2)",
    "claim_reference_known_to": "the reference itself is known to {stops:.2f} stop only (k=2)",
    "claim_mend": "verify names {faults:,}: mend that first",
}
