"""What is said of a reading and of readings against each other."""

from __future__ import annotations

PHRASES: dict[str, str] = {
    # how several are said
    "parts": "{parts:;}",
    "heading": "{parts::}",
    "listed": "{parts:,}",
    "and_parts": "{parts:and}",
    "and": "and",
    "or": "or",
    # verdicts
    "clipped": "clipped: brighter than the sensor's range, the true value is higher; take it again",
    "too_dim": "too dim: lost in the sensor's noise; take it again on a more sensitive range",
    "no_light": "no light was read; take it again",
    "adds_nothing": "it adds less than can be seen here: bring it nearer, take a bigger one, or leave it out",
    "half_way": "{what}; held off by more than half of the light's distance: take it again at the {point:point}",
    "set_as_told": "set as told since its last pop: ± {u95:u} expected, not metered",
    "contradicted": "{against}: {do}; {reason}",
    "fire_again": "fire it once more",
    "fire_both": "fire both again",
    "look_at_the_dial": "look at the dial",
    "look_and_fire": "look at the dial and fire it once more",
    "against_past_like":
        "contradicted by what it gave before: it reads about {stops:signed_word} off, it reads like {like:figure}, {said:figure} "
        "was said",
    "against_sum": "contradicted by the pop of all lights together: it reads about {stops:signed_word} off",
    "against_sum_held":
        "contradicted by the pop of all lights together: it reads about {stops:signed_word} off, as if held off {held_off_m:cm}",
    "against_past": "contradicted by what it gave before: it reads about {stops:signed_word} off",
    "against_past_held":
        "contradicted by what it gave before: it reads about {stops:signed_word} off, as if held off {held_off_m:cm}",
    "against_swap": "it looks swapped with {light}",
    "against_strange": "pop {pop} of {pops} looks like that of {light}",
    # what was corrected
    "reach_assumed": "distance not given: 0–{most_cm} cm toward the light assumed, corrected by {stops:stops} ± {u95:u}",
    "both_assumed":
        "neither held-off nor light's distance given: 0–{most_cm} cm and 0.5–4 m assumed, corrected by {stops:stops} ± {u95:u}",
    "distance_assumed": "light's distance not given: 0.5–4 m assumed, corrected by {stops:stops} ± {u95:u}",
    "dome_at": "dome at the {point:point}, ± {u95:u}",
    "reads_right": "{where} reads right within 0.1 stop",
    "reads_hot": "{where} reads {stops:stops_word} hot, corrected by {stops:stops} ± {u95:u}",
    "reads_low": "{where} reads {stops:stops_word} low, corrected by {stops:stops} ± {u95:u}",
    "held_light": "{receptor} {held_off_m:cm} in front of the {point:point}",
    "held_up": "{receptor} {held_off_m:cm} above the {point:point}",
    "held_down": "{receptor} {held_off_m:cm} below the {point:point}",
    "held_camera": "{receptor} {held_off_m:cm} from the {point:point} toward the camera",
    "held_left": "{receptor} {held_off_m:cm} to camera left of the {point:point}",
    "held_right": "{receptor} {held_off_m:cm} to camera right of the {point:point}",
    "held_elsewhere": "{receptor} {held_off_m:cm} from the {point:point} toward {toward}",
    "dome": "dome",
    "flat_receptor": "flat receptor",
    "beyond_range": "peak beyond the range, bounded to ± {u95:u}: no t0.1",
    # what would make it usable
    "at_point": "take it again with the dome at the {point:point}",
    "tape": "measure the light's distance with a tape",
    "large_and_near": "the light is large and near: take it again at the {point:point}",
    "say_where": "say where the light stands (azimuth, elevation)",
    "give_its_distance": "give the light's distance, no new pop is needed",
    "light_wavers": "the light wavers, or is too weak for what the sensor can tell: take it again",
    "let_recycle": "the pops differ too much: let the head recycle and take it again",
    "adds_too_little": "it adds too little to tell from two pops: average several, with it and without",
    # the calibration's claim
    "no_claim": "its calibration claims no such light",
    "below_claim": "dimmer than its calibration is good for to {limit:g} stop: more light or the more sensitive range",
    "beyond_claim": "brighter than its calibration is good for to {limit:g} stop: less light or the less sensitive range",
    "uncalibrated_receptor": "not calibrated with the {receptor}: f-number off by up to {u95:.1f} stop",
    "dome_receptor": "dome receptor",
    # geometries that cannot be
    "formula": "{why}",
    "behind_light": "the dome is held off {held_off_m:cm}, the light is {distance_m:cm} away: the dome would be at or behind it",
    "reach_reaches_light":
        "the light is {distance_m:cm} away and the dome may have been held off as far: say how far it was held off",
    "not_seen": "the receptor does not see this light: aim it at the light, or use a dome",
    "the_dome": "the dome",
    "the_point": "the point",
    "not_in_front": "{what} is not in front of the source: check the distance, the held-off distance and the feather angle",
    "surrounded": "{what} is {gap_m:cm} from a source of {size_m:cm}, which surrounds it: stay at least {least_m:cm} away",
    # what stands of a light
    "meter_it": "not metered: {do}",
    "meter_reflector": "two pops of its source: {do}",
    "without_missing": "its pop without it is missing, both are taken again: {do}",
    "metered_differently": "its two pops were metered differently, both are taken again: {do}",
    "moved": "moved or re-powered since it was metered",
    "reflector_moved": "moved since it was metered",
    "source_moved": "its source was moved or re-powered since",
    # the pop of all lights
    "sum_nowhere": "the pop of all lights cannot be brought to the face: check where the lights stand",
    "sum_alone": "nothing to compare with",
    "sum_not_metered": "{light} fired with the others but has no current reading alone: meter it",
    "sum_not_at_point": "{light} cannot be brought to its point: {reason}",
    "sum_unlike": "{light} was metered with another receptor or as another kind of light: meter like with like",
    "sum_no_direction": "the direction of {light} is not given: say its azimuth, or meter it aimed at the camera",
    "sum_none": "no pop of all lights since the last change: fire them together once",
    "sum_not_camera": "the pop of all lights was not aimed at the camera: take it again with the dome toward the camera",
    "sum_elsewhere": "the pop of all lights was taken at {point:point}: take it at the face",
    "sum_unusable": "the pop of all lights was clipped or too dim: take it again",
    "sum_removed": "a light that fired in it is no longer in the set: fire all together again",
    "sum_generator": "{lights:and} share a generator, which divides its energy anew when they fire together: no sum check",
    # predictions, causes, repeats
    "earlier_reading": "1 earlier reading of {head}",
    "earlier_readings": "{count} earlier readings of {head}",
    "this_light": "this light",
    "causes": "{causes:or}",
    "held_toward": "held off toward the light",
    "not_dumped": "not dumped after powering down",
    "slave": "another head set off by its optical slave",
    "not_recycled": "not recycled",
    "turned_away": "dome turned away",
    "shadow": "shadow of a hand or body",
    "clipped_word": "clipped",
    "outlier_over": "pop {pop} of {pops} is {stops:stops_word} over the others",
    "outlier_under": "pop {pop} of {pops} is {stops:stops_word} under the others",
    "looks_like": "{light}: pop {pop} of {pops} looks like that of {other}: take it back and fire {light}: {do}",
    "look_swapped": "{lights:and} look swapped: fire both again, in the order asked for",
    "swapped_by_past":
        "{lights:and} look swapped (each fits what the other gave before): take both back and fire them again in the order asked "
        "for: {do}, twice",
    "swapped_by_role":
        "{lights:and} look swapped (the fill reads more than the key): take both back and fire them again in the order asked for: "
        "{do}, twice",
    # how far is too far
    "reach_no_distance": "give the distance of {light}, so that it can be said how far off the {point:point} the dome may be",
    "reach_anywhere": "anywhere within 1 m of the {point:point} will do for {light}",
    "reach_within": "keep the dome within {good_cm} cm of the {point:point} for {light}",
    "reach_within_third":
        "keep the dome within {good_cm} cm of the {point:point} for {light} ({usable_cm} cm costs a third of a stop)",
    # falloff
    "law_shifted": "inverse square from {cm:.0f} ± {u95_cm:.0f} cm behind the front",
    "law_disk": "a disk of {cm:.0f} ± {u95_cm:.0f} cm",
    "falloff_row": "{stops:6.1f} {row}",
    "falloff_axis": " stops {near_m:.2f} m{gap}{far_m:.2f} m",
    "falloff_point": "  {distance_m:5.2f} m  {sign}{off:.3f} stop  (± {u95:.3f})",
    "falloff_legend": "o read  · {law}  - inverse square from the front",
    "falloff_span": "may be used from {low_m:.2f} to {high_m:.2f} m (measured {near_m:.2f} to {far_m:.2f} m)",
    # evenness
    "uneven_figure":
        "{point:point} get {stops:stops_word} less than the brightest point: move the lights back, raise them, or add one low "
        "(common practice says at least {least_m:cm} from a softbox)",
}
