"""What is said of a reading and of readings against each other."""

from __future__ import annotations

from meterlink.words.language import marked

PHRASES: dict[str, str] = {
    # how several are said
    "parts": "{parts:;}",
    "heading": "{parts::}",
    "listed": "{parts:,}",
    "and_parts": "{parts:and}",
    "and": marked("and"),
    "or": marked("or"),
    # verdicts
    "clipped": marked("clipped: brighter than the sensor's range, the true value is higher; take it again"),
    "too_dim": marked("too dim: lost in the sensor's noise; take it again on a more sensitive range"),
    "no_light": marked("no light was read; take it again"),
    "adds_nothing": marked("it adds less than can be seen here: bring it nearer, take a bigger one, or leave it out"),
    "half_way": marked("{what}; held off by more than half of the light's distance: take it again at the {point:point}"),
    "set_as_told": marked("set as told since its last pop: ± {u95:u} expected, not metered"),
    "contradicted": "{against}: {do}; {reason}",
    "fire_again": marked("fire it once more"),
    "fire_both": marked("fire both again"),
    "look_at_the_dial": marked("look at the dial"),
    "look_and_fire": marked("look at the dial and fire it once more"),
    "against_past_like": marked(
        "contradicted by what it gave before: it reads about {stops:signed_word} off, it reads like {like:figure}, "
        "{said:figure} was said"
    ),
    "against_sum": marked("contradicted by the pop of all lights together: it reads about {stops:signed_word} off"),
    "against_sum_held": marked(
        "contradicted by the pop of all lights together: it reads about {stops:signed_word} off, as if held off {held_off_m:cm}"
    ),
    "against_past": marked("contradicted by what it gave before: it reads about {stops:signed_word} off"),
    "against_past_held": marked(
        "contradicted by what it gave before: it reads about {stops:signed_word} off, as if held off {held_off_m:cm}"
    ),
    "against_swap": marked("it looks swapped with {light}"),
    # what was corrected
    "reach_assumed": marked(
        "distance not given: 0–{most_cm} cm toward the light assumed, corrected by {stops:stops} ± {u95:u}"
    ),
    "both_assumed": marked(
        "neither held-off nor light's distance given: 0–{most_cm} cm and 0.5–4 m assumed, corrected by {stops:stops} ± {u95:u}"
    ),
    "distance_assumed": marked("light's distance not given: 0.5–4 m assumed, corrected by {stops:stops} ± {u95:u}"),
    "dome_at": marked("dome at the {point:point}, ± {u95:u}"),
    "reads_right": marked("{where} reads right within 0.1 stop"),
    "reads_hot": marked("{where} reads {stops:stops_word} hot, corrected by {stops:stops} ± {u95:u}"),
    "reads_low": marked("{where} reads {stops:stops_word} low, corrected by {stops:stops} ± {u95:u}"),
    "held_light": marked("{receptor} {held_off_m:cm} in front of the {point:point}"),
    "held_up": marked("{receptor} {held_off_m:cm} above the {point:point}"),
    "held_down": marked("{receptor} {held_off_m:cm} below the {point:point}"),
    "held_camera": marked("{receptor} {held_off_m:cm} from the {point:point} toward the camera"),
    "held_left": marked("{receptor} {held_off_m:cm} to camera left of the {point:point}"),
    "held_right": marked("{receptor} {held_off_m:cm} to camera right of the {point:point}"),
    "held_elsewhere": marked("{receptor} {held_off_m:cm} from the {point:point} toward {toward}"),
    "dome": marked("dome"),
    "flat_receptor": marked("flat receptor"),
    "beyond_range": marked("peak beyond the range, bounded to ± {u95:u}: no t0.1"),
    # what would make it usable
    "at_point": marked("take it again with the dome at the {point:point}"),
    "tape": marked("measure the light's distance with a tape"),
    "large_and_near": marked("the light is large and near: take it again at the {point:point}"),
    "say_where": marked("say where the light stands (azimuth, elevation)"),
    "give_its_distance": marked("give the light's distance, no new pop is needed"),
    "light_wavers": marked("the light wavers, or is too weak for what the sensor can tell: take it again"),
    "let_recycle": marked("the pops differ too much: let the head recycle and take it again"),
    "adds_too_little": marked("it adds too little to tell from two pops: average several, with it and without"),
    # the calibration's claim
    "no_claim": marked("its calibration claims no such light"),
    "below_claim": marked("dimmer than its calibration is good for to {limit:g} stop: more light or the more sensitive range"),
    "beyond_claim": marked(
        "brighter than its calibration is good for to {limit:g} stop: less light or the less sensitive range"
    ),
    "uncalibrated_receptor": marked("not calibrated with the {receptor}: f-number off by up to {u95:.1f} stop"),
    "dome_receptor": marked("dome receptor"),
    # geometries that cannot be
    "formula": "{why}",
    "behind_light": marked(
        "the dome is held off {held_off_m:cm}, the light is {distance_m:cm} away: the dome would be at or behind it"
    ),
    "reach_reaches_light": marked(
        "the light is {distance_m:cm} away and the dome may have been held off as far: say how far it was held off"
    ),
    "not_seen": marked("the receptor does not see this light: aim it at the light, or use a dome"),
    "the_dome": marked("the dome"),
    "the_point": marked("the point"),
    "not_in_front": marked(
        "{what} is not in front of the source: check the distance, the held-off distance and the feather angle"
    ),
    "surrounded": marked(
        "{what} is {gap_m:cm} from a source of {size_m:cm}, which surrounds it: stay at least {least_m:cm} away"
    ),
    # what stands of a light
    "meter_it": marked("meter it: {do}"),
    "meter_reflector": marked("meter it, two pops of its source: {do}"),
    "without_missing": marked("its pop without it is missing, both are taken again: {do}"),
    "metered_differently": marked("its two pops were metered differently, both are taken again: {do}"),
    "moved": marked("moved or re-powered since it was metered"),
    "reflector_moved": marked("moved since it was metered"),
    "source_moved": marked("its source was moved or re-powered since"),
    # the pop of all lights
    "sum_nowhere": marked("the pop of all lights cannot be brought to the face: check where the lights stand"),
    "sum_alone": marked("nothing to compare with"),
    "sum_not_metered": marked("{light} fired with the others but has no current reading alone: meter it"),
    "sum_not_at_point": marked("{light} cannot be brought to its point: {reason}"),
    "sum_unlike": marked("{light} was metered with another receptor or as another kind of light: meter like with like"),
    "sum_no_direction": marked("the direction of {light} is not given: say its azimuth, or meter it aimed at the camera"),
    "sum_none": marked("no pop of all lights since the last change: fire them together once"),
    "sum_not_camera": marked(
        "the pop of all lights was not aimed at the camera: take it again with the dome toward the camera"
    ),
    "sum_elsewhere": marked("the pop of all lights was taken at {point:point}: take it at the face"),
    "sum_unusable": marked("the pop of all lights was clipped or too dim: take it again"),
    "sum_removed": marked("a light that fired in it is no longer in the set: fire all together again"),
    "sum_generator": marked(
        "{lights:and} share a generator, which divides its energy anew when they fire together: no sum check"
    ),
    # predictions, causes, repeats
    "earlier_reading": marked("1 earlier reading of {head}"),
    "earlier_readings": marked("{count} earlier readings of {head}"),
    "this_light": marked("this light"),
    "causes": "{causes:or}",
    "held_toward": marked("held off toward the light"),
    "not_dumped": marked("not dumped after powering down"),
    "slave": marked("another head set off by its optical slave"),
    "not_recycled": marked("not recycled"),
    "turned_away": marked("dome turned away"),
    "shadow": marked("shadow of a hand or body"),
    "clipped_word": marked("clipped"),
    "outlier_over": marked("pop {pop} of {pops} is {stops:stops_word} over the others"),
    "outlier_under": marked("pop {pop} of {pops} is {stops:stops_word} under the others"),
    "look_swapped": marked("{lights:and} look swapped: fire both again, in the order asked for"),
    "swapped_by_past": marked(
        "{lights:and} look swapped (each fits what the other gave before): take both back and fire them again in the order asked "
        "for: {do}, twice"
    ),
    "swapped_by_role": marked(
        "{lights:and} look swapped (the fill reads more than the key): take both back and fire them again in the order asked for: "
        "{do}, twice"
    ),
    # how far is too far
    "reach_no_distance": marked(
        "give the distance of {light}, so that it can be said how far off the {point:point} the dome may be"
    ),
    "reach_anywhere": marked("anywhere within 1 m of the {point:point} will do for {light}"),
    "reach_within": marked("keep the dome within {good_cm} cm of the {point:point} for {light}"),
    "reach_within_third": marked(
        "keep the dome within {good_cm} cm of the {point:point} for {light} ({usable_cm} cm costs a third of a stop)"
    ),
    # falloff
    "law_shifted": marked("inverse square from {cm:.0f} ± {u95_cm:.0f} cm behind the front"),
    "law_disk": marked("a disk of {cm:.0f} ± {u95_cm:.0f} cm"),
    "falloff_row": "{stops:6.1f} {row}",
    "falloff_axis": marked(" stops {near_m:.2f} m{gap}{far_m:.2f} m"),
    "falloff_point": marked("  {distance_m:5.2f} m  {sign}{off:.3f} stop  (± {u95:.3f})"),
    "falloff_legend": marked("o read  · {law}  - inverse square from the front"),
    "falloff_span": marked("may be used from {low_m:.2f} to {high_m:.2f} m (measured {near_m:.2f} to {far_m:.2f} m)"),
    # evenness
    "uneven_figure": marked(
        "{point:point} get {stops:stops_word} less than the brightest point: move the lights back, raise them, or add one low "
        "(common practice says at least {least_m:cm} from a softbox)"
    ),
}
