"""What the checks found, and what to do about it: ``NAME`` and ``NAME_do`` of a finding with its numbers."""

from __future__ import annotations

from meterlink.words.language import marked

PHRASES: dict[str, str] = {
    "do": "{do}",
    "lights_say": "{lights:,}: {what}",
    "shared_reach_assumed": marked("distance not given, 0–{most_cm} cm toward the light assumed: {lights:,}"),
    "shared_both_assumed": marked(
        "neither held-off nor light's distance given, 0–{most_cm} cm and 0.5–4 m assumed: {lights:,}"
    ),
    "shared_distance_assumed": marked("light's distance not given, 0.5–4 m assumed: {lights:,}"),
    "shared_not_metered": marked("not metered yet: {lights:,}"),
    "shared_stale": marked("moved or re-powered since they were metered: {lights:,}; their old readings are not shown"),
    "shared_no_distance": marked("the distance is not given, the correction is a guess over 0.5–4 m: {lights:,}"),
    "shared_no_direction": marked("the direction is not given, so no share and no part in the sum check: {lights:,}"),
    "light_says": "{light}: {what}",
    "stale_hidden": marked("{light}: {why}; its old reading is not shown"),
    "not_metered": marked("{light} has not been metered"),
    # the pop of all lights, and what was given before
    "sum_less": marked("all lights together give {stops:size2} ± {u95:u} stop less than the sum of each alone"),
    "sum_more": marked("all lights together give {stops:size2} ± {u95:u} stop more than the sum of each alone"),
    "was_expected": marked("{light} was expected within ± {u95:.1f} stop from {past}"),
    "the_sum_pop": marked("the pop of all lights"),
    "all_together": marked("all together"),
    "likeliest": marked("{parts:;}; likeliest, at {percent:.0f} %: {cause}"),
    "likeliest_else": marked("{parts:;}; likeliest, at {percent:.0f} %: {cause} (else {others:or})"),
    "sum_itself": marked("the pop of all lights itself is off"),
    "as_if_held": marked("{light} reads about {stops:stops_word} high, as if held off {held_off_m:cm} toward it"),
    "reads_high": marked("{light} reads about {stops:stops_word} high: {causes}"),
    "reads_low_because": marked("{light} reads about {stops:stops_word} low: {causes}"),
    "borne_out": marked("all lights together bear the readings out"),
    "or_dial": marked("{cause}, or its dial stands at {power:figure}"),
    "or_dial_lies": marked("{causes}, or its dial does not deliver what it says"),
    "look_at_dial": marked("look at its dial"),
    "reads_like": marked("it reads like {like}, {said} was said: look at the dial"),
    "reads_like_else": marked("{like}; else {causes}"),
    "at_the_dial": marked(
        "turn the dial of {light} to {said} and fire it again: {do}; or, if it is meant to stand at {like}, no new pop is needed: "
        "{or_do}"
    ),
    "alone_again": marked("fire {light} alone once more, dome at its point: {do}"),
    "all_but": marked("fire all but {light} together: {do}"),
    "together_again": marked("fire all together once more, dome at the face: {do}"),
    "apart": marked("{light} reads {stops:signed_word} against what {past} predict (± "
    "{u95:.1f}): {causes}"),
    "apart_do": marked("fire {light} once more: if it stays, its power curve is learnt from it"),
    "not_cross_checked": marked("the readings are not cross-checked: {why}"),
    "sum_missing_do": marked("fire all lights on the face together once, dome at the face toward the camera: {do}"),
    "sum_agrees": marked("the pop of all lights agrees with the sum of each within {stops:size2} stop"),
    # places
    "no_distance": marked("the distance of {light} is not given: its correction is a guess over 0.5–4 m"),
    "no_distance_do": marked("{do} (no new pop is needed)"),
    "no_direction": marked("the direction of {light} is not given: it has no share and no part in the sum check"),
    "outlier_do": marked("let it recycle and fire {light} again"),
    "near": marked("{light} is so near that {reach_m:cm} cost more than a tenth of a stop"),
    "near_do": marked("{reach}; if it was held otherwise: {do}"),
    "for_t01": marked("for its t0.1: {do}"),
    "damaged_note": marked("a falloff that was stored for {name} cannot be read: the distances are corrected without it"),
    "damaged_note_do": marked("measure it again ({measure}), or bring an earlier copy back ({restore})"),
    # evenness
    "head_to_toe": marked("head to toe: {what}"),
    "head_to_toe_if": marked("head to toe, should they show: {what}"),
    "head_to_toe_do": marked("move the strongest light back or fill from below"),
    "backdrop_refused": marked("{name}: {why}"),
    "backdrop_refused_do": marked("meter the points of {name} again"),
    "backdrop": marked("{name} is even within {stops:size2} ± {u95:size2} stop, darkest at {point:point}"),
    "backdrop_by": marked("{name} by {light} is even within {stops:size2} ± {u95:size2} stop, darkest at {point:point}"),
    "backdrop_do": marked("move the light back or turn it toward {point:point}"),
    "backdrop_even": marked("nothing: a third of a stop does not show"),
    # room light
    "key_side": marked("the key side of the face"),
    "shadow_side": marked("the shadow side of the face"),
    "the_face": marked("the face"),
    "a_point": "{point:point}",
    "room_unjudged": marked("the room light was read, but the shutter is not set: it cannot be judged"),
    "room_none": marked("room light: none at {part}"),
    "room_clean": marked("room light {above:.1f} stops below the flash at {part}: nothing will ghost"),
    "room_below_clean": marked(
        "room light below {lx:lx}, so at least {above:.1f} stops below the flash at {part}: nothing will ghost"
    ),
    "room_below": marked(
        "the sensor tells only that the room light is below {lx:lx}: at {part} the flash may stand as little as "
        "{above:.1f} stops above it"
    ),
    "room_visible": marked(
        "the flash is {above:.1f} stops above the room at {part}, the room adds {added:.2f} stop: whatever moves leaves a ghost of "
        "{share:.0%} of the exposure"
    ),
    "room_ghosts": marked(
        "the flash is {above:.1f} stops above the room at {part}, the room adds {added:.2f} stop: whatever moves leaves a ghost of "
        "{share:.0%} of the exposure, plainly seen"
    ),
    "room_at_least": marked("{room} (at the least {least:.1f} stops above it)"),
    "room_before_pops": marked("{room}, by the light before the pops"),
    "room_unknown": marked(
        "the pops tell only that the room light is anything up to {lx:lx}: at {part} the flash may stand as little as "
        "{above:.1f} stops above it"
    ),
    "room_read": marked("room light: {room} (common practice: two to four stops above it is clean)"),
    "room_read_lamps": marked(
        "room light: {room} (common practice: two to four stops above it is clean); read with {lamps}"
    ),
    "read_it": marked("read it: {do}"),
    "lamps_off_gain": marked("modelling lamps off for the picture: {stops:stops_word} less room light"),
    "lamps_off_all": marked("modelling lamps off for the picture: they are all the room light there is"),
    "shorter": "{do}",
    "shorter_sync": marked("{do} (the sync speed; {gained:size} of {of:stops_word})"),
    "more_power": marked(
        "{stops:stops_word} more power on all lights and the aperture closed by as much, or less room light"
    ),
    # shutter
    "readout_unknown": marked(
        "the readout time of the electronic shutter is not given: what it keeps of a flash cannot be said"
    ),
    "beyond_sync": marked("{time_s:shutter} is faster than the sync speed of {sync_s:shutter}: {amount}"),
    "beyond_sync_assumed": marked(
        "{time_s:shutter} is faster than the sync speed of {sync_s:shutter}: {amount} (common practice; your camera's own: {do})"
    ),
    "dark_share": marked("about {share:.0%} of the frame gets no flash"),
    "may_stay_dark": marked("a part of the frame may stay dark"),
    "beyond_sync_do": marked("{do}, or heads and trigger with high-speed sync"),
    "train": marked(
        "{light} pulses (high-speed sync): at {time_s:shutter} the picture gets {stops:stops_word} less than the pop read"
    ),
    "train_nothing": marked("{light} pulses (high-speed sync): at {time_s:shutter} the picture gets next to nothing of it"),
    "train_do": marked("open up by that much, or take the mean level as steady light: it grows with the shutter time"),
    "slow": marked("{light} (t0.1 {t01_s:duration}) {how} at {time_s:shutter}: the frame stays open for {open} of it"),
    "slow_assumed": marked(
        "{light} (t0.1 {t01_s:duration}) {how} at {time_s:shutter}: the frame stays open for {open} of it (assumed: {assumed:,})"
    ),
    "duration": "{time_s:duration}",
    "no_time": marked("no time at all"),
    "loses_all_evenly": marked("loses all of it evenly"),
    "loses_evenly": marked("loses {stops:stops_word} evenly"),
    "loses_all_band": marked("loses up to all of it as a darker band over {share:.0%} of the frame"),
    "loses_band": marked("loses up to {stops:stops_word} as a darker band over {share:.0%} of the frame"),
    "assumed_kind": marked("focal-plane shutter"),
    "assumed_sync": marked("sync speed"),
    "assumed_travel": marked("curtain travel"),
    "shorter_flash_helps": marked("a shorter flash (cut-off heads at lower power) helps too"),
    "slower_shutter": marked("{do}: the room light comes up by {stops:stops_word}; {else_}"),
    "open_up_or": marked("open up by {stops:stops_word}, or {advice}"),
    "camera_tells": marked("say your camera's own sync speed first: {do}; else {advice}"),
    "shutter_keeps": marked("at {time_s:shutter} the shutter keeps all of every flash: it loses {stops:size2} stop at most"),
    # movement
    "trail": marked("{light} leaves the longest trail: {trail} at {speed:g} m/s{what}{part}; {time}"),
    "part_of_face": marked(", in {share:.0%} of the light on the face"),
    "trail_at": marked("{light} leaves a trail: {trail} at {speed:g} m/s{what}, in the light on the {point:point}; {time}"),
    "trail_mm": "{mm:mm}",
    "trail_px": marked("{mm:mm}, {px:.0f} pixels"),
    "moves_declared": marked(" ({what:movement}, common practice)"),
    "moves_assumed": marked(" ({what:movement} assumed, common practice)"),
    "shutter_time": marked("shutter {time_s:shutter}"),
    "flash_time": "t0.1 {time_s:duration}",
    "frozen": marked("frozen ({what:movement}): {mm:mm} at {speed:g} m/s, the longest trail ({light})"),
    "moving_word": marked("movements"),
    "steady_do": marked(
        "a shutter of {wanted_s:duration} or shorter: costs {stops:stops_word} of this light; flash would freeze it"
    ),
    "power_costs": marked(
        "{light} at {power:figure}: t0.1 {t01_s:duration} by {head}'s own readings, costs {stops:stops_word} of it: make up by "
        "ISO or aperture, or by distance"
    ),
    "power_gives": marked(
        "{light} at {power:figure}: t0.1 {t01_s:duration} by {head}'s own readings, gives {stops:stops_word} of it: make up by "
        "ISO or aperture, or by distance"
    ),
    "never_so_short": marked(
        "{head} was never read as short as {wanted_s:duration} (shortest {shortest_s:duration} at {power:figure}): use a shorter "
        "head, or less movement"
    ),
    "learn_shorter": marked(
        "for {wanted_s:duration} or shorter: meter {light} at a lower power too, to learn whether it gets shorter (cut-off heads "
        "do, voltage-controlled ones usually not: common practice)"
    ),
    "learn_shorter_power": marked(
        "for {wanted_s:duration} or shorter: give its power ({do}), and meter {light} at a lower power too, to learn whether it "
        "gets shorter (cut-off heads do, voltage-controlled ones usually not: common practice)"
    ),
    # colour
    "off_key": marked("{light} against the key: {parts:and} ({cct_k:.0f} K)"),
    "off_key_duv": marked("{light} against the key: {parts:and} ({cct_k:.0f} K, Duv {duv:duv})"),
    "off_key_gel": marked("it has the gel '{gel}' on it"),
    "cct_higher": marked("its CCT is higher by {mired:.0f} mired"),
    "cct_lower": marked("its CCT is lower by {mired:.0f} mired"),
    "toward_magenta": marked("it lies {duv:.3f} Duv toward magenta"),
    "toward_green": marked("it lies {duv:.3f} Duv toward green"),
    "gel_off": marked("if it is to match the key: take the gel off ({do}) and meter it again"),
    "gel_lowers": marked("to match the key: a gel that lowers the CCT by {mired:.0f} mired"),
    "gel_raises": marked("to match the key: a gel that raises the CCT by {mired:.0f} mired"),
    "gel_lowers_green": marked(
        "to match the key: a gel that lowers the CCT by {mired:.0f} mired, and green for a Duv of {duv:.3f}"
    ),
    "gel_lowers_magenta": marked(
        "to match the key: a gel that lowers the CCT by {mired:.0f} mired, and magenta for a Duv of {duv:.3f}"
    ),
    "gel_raises_green": marked(
        "to match the key: a gel that raises the CCT by {mired:.0f} mired, and green for a Duv of {duv:.3f}"
    ),
    "gel_raises_magenta": marked(
        "to match the key: a gel that raises the CCT by {mired:.0f} mired, and magenta for a Duv of {duv:.3f}"
    ),
    "gel_green": marked("to match the key: a green gel for a Duv of {duv:.3f}"),
    "gel_magenta": marked("to match the key: a magenta gel for a Duv of {duv:.3f}"),
    "at_power_read": marked("at {power:figure} {head} read {cct_k:.0f} K"),
    "drift_higher": marked(
        "{head} drifts by {span:.0f} mired over its powers: {high_k:.0f} K at {high:figure}, {low_k:.0f} K at {low:figure} "
        "(higher CCT at low power), by its own {count} readings"
    ),
    "drift_lower": marked(
        "{head} drifts by {span:.0f} mired over its powers: {high_k:.0f} K at {high:figure}, {low_k:.0f} K at {low:figure} "
        "(lower CCT at low power), by its own {count} readings"
    ),
    "drift_do": marked("keep its power, or dim it by distance; see it: {do}"),
}
