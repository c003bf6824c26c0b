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
        "range {range}: steady pairs say {gap:+.2f} stop against the flash pairs (the lamp's colour, mostly): the scale is that "
        "of the flash pairs",
    "relative_warning": "no reference was used: ratios are right, f-numbers are relative until a reference or a guide number is",
}
