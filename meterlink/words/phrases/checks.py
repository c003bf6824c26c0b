"""What the checks found, and what to do about it: ``NAME`` and ``NAME_do`` of a finding with its numbers."""

from __future__ import annotations

PHRASES: dict[str, str] = {
    "do": "{do}",
    "lights_say": "{lights:,}: {what}",
    "shared_reach_assumed": "distance not given, 0–{most_cm} cm toward the light assumed: {lights:,}",
    "shared_both_assumed": "neither held-off nor light's distance given, 0–{most_cm} cm and 0.5–4 m assumed: {lights:,}",
    "shared_distance_assumed": "light's distance not given, 0.5–4 m assumed: {lights:,}",
    "shared_not_metered": "not metered yet: {lights:,}",
    "shared_stale": "moved or re-powered since they were metered: {lights:,}; their old readings are not shown",
    "shared_no_distance": "the distance is not given, the correction is a guess over 0.5–4 m: {lights:,}",
    "shared_no_direction": "the direction is not given, so no share and no part in the sum check: {lights:,}",
    "light_says": "{light}: {what}",
    "stale_hidden": "{light}: {why}; its old reading is not shown",
    "not_metered": "{light} has not been metered",
    # the pop of all lights, and what was given before
    "sum_less": "all lights together give {stops:size2} ± {u95:u} stop less than the sum of each alone",
    "sum_less_unread":
        "all lights together give {stops:size2} ± {u95:u} stop less than the sum of each alone, {without:and} not even counted",
    "sum_more": "all lights together give {stops:size2} ± {u95:u} stop more than the sum of each alone",
    "was_expected": "{light} was expected within ± {u95:.1f} stop from {past}",
    "the_sum_pop": "the pop of all lights",
    "all_together": "all together",
    "likeliest": "{parts:;}; likeliest, at {percent:.0f} %: {cause}",
    "likeliest_else": "{parts:;}; likeliest, at {percent:.0f} %: {cause} (else {others:or})",
    "sum_itself": "the pop of all lights itself is off",
    "as_if_held": "{light} reads about {stops:stops_word} high, as if held off {held_off_m:cm} toward it",
    "reads_high": "{light} reads about {stops:stops_word} high: {causes}",
    "reads_low_because": "{light} reads about {stops:stops_word} low: {causes}",
    "borne_out": "all lights together bear the readings out",
    "or_dial": "{cause}, or its dial stands at {power:figure}",
    "or_dial_lies": "{causes}, or its dial does not deliver what it says",
    "look_at_dial": "look at its dial",
    "reads_like": "it reads like {like:figure}, {said:figure} was said: look at the dial",
    "reads_like_else": "{like}; else {causes}",
    "at_the_dial":
        "turn the dial of {light} to {said:figure} and fire it again: {do}; or, if it is meant to stand at {like:figure}, no new "
        "pop is needed: {or_do}",
    "alone_again": "fire {light} alone once more, dome at its point: {do}",
    "all_but": "fire all but {light} together: {do}",
    "together_again": "fire all together once more, dome at the face: {do}",
    "apart": "{light} reads {stops:signed_word} against what is expected from {past} (± {u95:.1f}): {causes}",
    "apart_do": "fire {light} once more: if it stays, its power curve is learnt from it",
    "all_apart": "{lights:and} all read {stops:signed_word} against what is expected of them: what is off is what they share",
    "all_apart_do":
        "turn no dial yet: look at the sensor's dome and range and at a filter before it; to bring a set back, change the camera",
    "not_cross_checked": "the readings are not cross-checked: {why}",
    "sum_missing_do": "fire all lights on the face together once, dome at the face toward the camera: {do}",
    "sum_agrees": "the pop of all lights agrees with the sum of each within {stops:size2} stop",
    # places
    "no_distance": "the distance of {light} is not given: its correction is a guess over 0.5–4 m",
    "no_distance_do": "{do} (no new pop is needed)",
    "no_direction": "the direction of {light} is not given: it has no share and no part in the sum check",
    "outlier_do": "let it recycle and fire {light} again",
    "near": "{light} is so near that {reach_m:cm} cost more than a tenth of a stop",
    "shared_near": "so near that {reach_m:cm} cost more than a tenth of a stop: {lights:,}",
    "shared_near_do": "keep the dome within {each:,}; if it was held otherwise: {do}",
    "near_each": "{good_cm} cm for {light}",
    "near_do": "{reach}; if it was held otherwise: {do}",
    "for_t01": "for its t0.1: {do}",
    "damaged_note": "a falloff that was stored for {name} cannot be read: the distances are corrected without it",
    "damaged_note_do": "measure it again ({measure}), or bring an earlier copy back ({restore})",
    # evenness
    "head_to_toe": "head to toe: {what}",
    "head_to_toe_if": "head to toe, should they show: {what}",
    "head_to_toe_do": "move the strongest light back or fill from below",
    "backdrop_refused": "{name}: {why}",
    "backdrop_refused_do": "meter the points of {name} again",
    "backdrop": "{name} is even within {stops:size2} ± {u95:size2} stop, darkest at {point:point}",
    "backdrop_by": "{name} by {light} is even within {stops:size2} ± {u95:size2} stop, darkest at {point:point}",
    "backdrop_do": "move the light back or turn it toward {point:point}",
    "backdrop_even": "nothing: a third of a stop does not show",
    # room light
    "key_side": "the key side of the face",
    "shadow_side": "the shadow side of the face",
    "the_face": "the face",
    "a_point": "{point:point}",
    "room_unjudged": "the room light was read, but the shutter is not set: it cannot be judged",
    "part_at_point": "the {point:point}",
    "room_none": "room light: none at {part}",
    "room_clean": "room light {above:.1f} stops below the flash at {part}: nothing will ghost",
    "room_below_clean": "room light below {lx:lx}, so at least {above:.1f} stops below the flash at {part}: nothing will ghost",
    "room_below":
        "the sensor tells only that the room light is below {lx:lx}: at {part} the flash may stand as little as {above:.1f} stops "
        "above it",
    "room_visible":
        "the flash is {above:.1f} stops above the room at {part}, the room adds {added:.2f} stop: whatever moves leaves a ghost "
        "of {share:.0%} of the exposure",
    "room_ghosts":
        "the flash is {above:.1f} stops above the room at {part}, the room adds {added:.2f} stop: whatever moves leaves a ghost "
        "of {share:.0%} of the exposure, plainly seen",
    "room_at_least": "{room} (at the least {least:.1f} stops above it)",
    "room_before_pops": "{room}, by the light before the pops",
    "room_unknown":
        "the pops tell only that the room light is anything up to {lx:lx}: at {part} the flash may stand as little as {above:.1f} "
        "stops above it",
    "room_read": "room light: {room} (common practice: two to four stops above it is clean)",
    "room_read_lamps": "room light: {room} (common practice: two to four stops above it is clean); read with {lamps}",
    "read_it": "read it: {do}",
    "lamps_off_gain": "modelling lamps off for the picture: {stops:stops_word} less room light",
    "lamps_off_all": "modelling lamps off for the picture: they are all the room light there is",
    "shorter_sync": "{do} (the sync speed; {gained:size} of {of:stops_word})",
    "more_power": "{stops:stops_word} more power on all lights and the aperture closed by as much, or less room light",
    # shutter
    "readout_unknown": "the readout time of the electronic shutter is not given: what it keeps of a flash cannot be said",
    "beyond_sync": "{time_s:shutter} is faster than the sync speed of {sync_s:shutter}: {amount}",
    "beyond_sync_assumed":
        "{time_s:shutter} is faster than the sync speed of {sync_s:shutter}: {amount} (common practice; your camera's own: {do})",
    "dark_share": "about {share:.0%} of the frame gets no flash",
    "may_stay_dark": "a part of the frame may stay dark",
    "beyond_sync_do": "{do}, or heads and trigger with high-speed sync",
    "train": "{light} pulses (high-speed sync): at {time_s:shutter} the picture gets {stops:stops_word} less than the pop read",
    "train_nothing": "{light} pulses (high-speed sync): at {time_s:shutter} the picture gets next to nothing of it",
    "train_do": "open up by that much, or take the mean level as steady light: it grows with the shutter time",
    "slow": "{light} (t0.1 {t01_s:duration}) {how} at {time_s:shutter}: the frame stays open for {open} of it",
    "slow_assumed":
        "{light} (t0.1 {t01_s:duration}) {how} at {time_s:shutter}: the frame stays open for {open} of it (assumed: {assumed:,})",
    "shared_slow": "at {time_s:shutter} the frame stays open for {open} of a flash; lost {how}: {each:,}",
    "shared_slow_assumed":
        "at {time_s:shutter} the frame stays open for {open} of a flash; lost {how}: {each:,} (assumed: {assumed:,})",
    "slow_each": "{light} {stops:stops_word}",
    "slow_all": "{light} all of it",
    "lost_evenly": "evenly",
    "lost_in_a_band": "in the darkest rows",
    "duration": "{time_s:duration}",
    "no_time": "no time at all",
    "loses_all_evenly": "loses all of it evenly",
    "loses_evenly": "loses {stops:stops_word} evenly",
    "loses_all_band": "loses up to all of it as a darker band over {share:.0%} of the frame",
    "loses_band": "loses up to {stops:stops_word} as a darker band over {share:.0%} of the frame",
    "assumed_kind": "focal-plane shutter",
    "assumed_sync": "sync speed",
    "assumed_travel": "curtain travel",
    "shorter_flash_helps": "a shorter flash (cut-off heads at lower power) helps too",
    "slower_shutter": "{do}: the room light comes up by {stops:stops_word}; {else_}",
    "open_up_or": "open up by {stops:stops_word}, or {advice}",
    "camera_tells": "say your camera's own sync speed first: {do}; else {advice}",
    "shutter_keeps": "at {time_s:shutter} the shutter keeps all of every flash: it loses {stops:size2} stop at most",
    # movement
    "trail": "{light} leaves the longest trail: {trail} at {speed:g} m/s{what}{part}; {time}",
    "part_of_face": ", in {share:.0%} of the light on the face",
    "trail_at": "{light} leaves a trail: {trail} at {speed:g} m/s{what}, in the light on the {point:point}; {time}",
    "trail_mm": "{mm:mm}",
    "trail_px": "{mm:mm}, {px:.0f} pixels",
    "moves_declared": " ({what:movement}, common practice)",
    "moves_assumed": " ({what:movement} assumed, common practice)",
    "shutter_time": "shutter {time_s:shutter}",
    "flash_time": "t0.1 {time_s:duration}",
    "frozen": "frozen ({what:movement}): {mm:mm} at {speed:g} m/s, the longest trail ({light})",
    "moving_word": "movements",
    "steady_do": "a shutter of {wanted_s:duration} or shorter: costs {stops:stops_word} of this light; flash would freeze it",
    "power_costs":
        "{light} at {power:figure}: t0.1 {t01_s:duration} by {head}'s own readings, costs {stops:stops_word} of it: make up by "
        "ISO or aperture, or by distance",
    "power_gives":
        "{light} at {power:figure}: t0.1 {t01_s:duration} by {head}'s own readings, gives {stops:stops_word} of it: make up by "
        "ISO or aperture, or by distance",
    "never_so_short":
        "{head} was never read as short as {wanted_s:duration} (shortest {shortest_s:duration} at {power:figure}): use a shorter "
        "head, or less movement",
    "learn_shorter":
        "for {wanted_s:duration} or shorter: meter {light} at a lower power too, to learn whether it gets shorter (cut-off heads "
        "do, voltage-controlled ones usually not: common practice)",
    "learn_shorter_power":
        "for {wanted_s:duration} or shorter: give its power ({do}), and meter {light} at a lower power too, to learn whether it "
        "gets shorter (cut-off heads do, voltage-controlled ones usually not: common practice)",
    # colour
    "off_key": "{light} against the key: {parts:and} ({cct_k:.0f} K)",
    "off_key_duv": "{light} against the key: {parts:and} ({cct_k:.0f} K, Duv {duv:duv})",
    "off_key_gel": "it has the gel '{gel}' on it",
    "cct_higher": "its CCT is higher by {mired:.0f} mired",
    "cct_lower": "its CCT is lower by {mired:.0f} mired",
    "toward_magenta": "it lies {duv:.3f} Duv toward magenta",
    "toward_green": "it lies {duv:.3f} Duv toward green",
    "gel_off": "if it is to match the key: take the gel off ({do}) and meter it again",
    "gel_lowers": "to match the key: a gel that lowers the CCT by {mired:.0f} mired",
    "gel_raises": "to match the key: a gel that raises the CCT by {mired:.0f} mired",
    "gel_lowers_green": "to match the key: a gel that lowers the CCT by {mired:.0f} mired, and green for a Duv of {duv:.3f}",
    "gel_lowers_magenta": "to match the key: a gel that lowers the CCT by {mired:.0f} mired, and magenta for a Duv of {duv:.3f}",
    "gel_raises_green": "to match the key: a gel that raises the CCT by {mired:.0f} mired, and green for a Duv of {duv:.3f}",
    "gel_raises_magenta": "to match the key: a gel that raises the CCT by {mired:.0f} mired, and magenta for a Duv of {duv:.3f}",
    "gel_green": "to match the key: a green gel for a Duv of {duv:.3f}",
    "gel_magenta": "to match the key: a magenta gel for a Duv of {duv:.3f}",
    "at_power_read": "at {power:figure} {head} read {cct_k:.0f} K",
    "drift_higher":
        "{head} drifts by {span:.0f} mired over its powers: {high_k:.0f} K at {high:figure}, {low_k:.0f} K at {low:figure} "
        "(higher CCT at low power), by its own {count} readings",
    "drift_lower":
        "{head} drifts by {span:.0f} mired over its powers: {high_k:.0f} K at {high:figure}, {low_k:.0f} K at {low:figure} (lower "
        "CCT at low power), by its own {count} readings",
    "drift_do": "keep its power, or dim it by distance; see it: {do}",
}
