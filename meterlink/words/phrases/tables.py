"""What the tables say: ratios, targets, match, compare."""

from __future__ import annotations

from meterlink.words.language import marked

PHRASES: dict[str, str] = {
    # ratios
    "other_receptor": marked("metered with the {receptor} receptor, the key with the {key_receptor} one: meter both alike"),
    "other_sensor": marked("metered with another sensor than the key: meter both with one"),
    "needs_shutter": marked("steady light against flash needs the shutter time: {do}"),
    "nothing_to_compare": marked("no light above the room's: nothing to compare"),
    "other_aim": marked("aimed at the {aim}, the key at the {key_aim}: meter both alike, or give its direction"),
    "no_shares_readings": marked("no shares until every light on the face has a current reading: {lights:,}"),
    "no_lighting_ratio": marked("no lighting ratio until every fill can be compared with the key: {lights:,}"),
    "no_shares_direction": marked("no shares: the direction of {lights:,} is not given ({do})"),
    "assumed_calibration": marked("the f-numbers rest on an assumed calibration of the sensor ({do}); ratios do not"),
    "no_key": marked("no light has the role key: {do}"),
    "key_not_metered": marked("the key ({light}) has no current reading: meter it to get the ratios"),
    "stale": marked("{why}: meter it again"),
    "stale_read": marked("{why} (it read {f:f}): meter it again"),
    "lighting_ratio": marked("{ratio:ratio} ± {u95:u} stop"),
    "lighting_ratio_doubtful": marked("{ratio:ratio} ± {u95:u} stop (retake)"),
    # two sets side by side
    "none": "–",
    "yes": marked("yes"),
    "no": marked("no"),
    "not_given": marked("not given"),
    "a_picture": marked("a picture ({count} characters)"),
    "a_small_source": marked("small source"),
    "a_disk": marked("disk {size}"),
    "a_rectangle": marked("rectangle {size}"),
    "as_length": "{value:length}",
    "as_number": "{value:g}",
    "as_figure": "{value:figure}",
    "as_shutter": "{value:shutter}",
    "as_unit": "{value:g} {unit}",
    "as_stops": "{value:stops2}",
    "takes_stops": marked("{value:.2f} stops"),
    "as_iso": "{value:iso}",
    "as_role": "{value:role}",
    # moves
    "power_up": marked("power up to {power:figure}"),
    "power_down": marked("power down to {power:figure}"),
    "distance_to": marked("distance to {distance_m:length}"),
    "closer": marked("{shift_m:length} closer, to {distance_m:length}"),
    "farther": marked("{shift_m:length} farther, to {distance_m:length}"),
    "leave_it": marked("leave it"),
    "nothing_can_be_done": marked("nothing can be done here"),
    "move_leaves": marked("{move} (leaves {left:stops2})"),
    "full_power_short": marked("full power is reached {stops:stops_word} short"),
    "lowest_power_bright": marked("its lowest power is reached {stops:stops_word} too bright"),
    "reflector_no_power": marked("a passive reflector has no power"),
    "power_not_given": marked("its power is not given"),
    "distance_not_given": marked("its distance is not given, so no move can be worked out"),
    "even_at": marked("even at {distance_m:length} it stays {stops:stops_word} off"),
    "even_at_end": marked("even at {end} and {distance_m:length} it stays {stops:stops_word} off"),
    "full_power": marked("full power"),
    "lowest_power": marked("lowest power"),
    "already_at": marked("at {end} already, so {move}"),
    "cannot_be": marked("{wish} cannot be: {why}; the nearest: {move}, {beside}"),
    "that": marked("that"),
    "as_asked": marked("which is what was asked"),
    "no_light_at_all": marked("no light at all"),
    "stops_over": marked("{stops:stops_word} over"),
    "stops_under": marked("{stops:stops_word} under"),
    "not_placed": marked("it is not placed: {do}"),
    # side effects
    "catches_source": marked("a reflector also catches more or less of its source there: meter it again"),
    "softer": marked("softer: fills {after:.0f}° instead of {before:.0f}° seen from the {point:point}"),
    "harder": marked("harder: fills {after:.0f}° instead of {before:.0f}° seen from the {point:point}"),
    "fall": marked(
        "from the face, hands get {hands:stops} instead of {hands_before:stops} and feet {feet:stops} instead of "
        "{feet_before:stops} stops"
    ),
    "half_metre": marked("what is 50 cm nearer to it gets {after:.1f} stops more instead of {before:.1f}"),
    "falloff_unknown": marked("its falloff was never measured, the move may miss by up to {stops:stops_word}: meter it again"),
    "longer_flash": marked("longer flash: t0.1 {after:duration} instead of {before:duration}"),
    "shorter_flash": marked("shorter flash: t0.1 {after:duration} instead of {before:duration}"),
    "warmer": marked("warmer: {after:.0f} K instead of {before:.0f} K"),
    "cooler": marked("cooler: {after:.0f} K instead of {before:.0f} K"),
    # targets
    "fire_first": marked("fire {light} once more first: {why}"),
    "goes_dark": marked(
        "{light}: the other lights alone already give more than is wanted there; the nearest is to switch it off"
    ),
    "spill_left_out": marked(
        "what {other} gives at the {point:point} was metered in another way than {light} and is left out: meter both alike"
    ),
    "fill_word": marked("fill"),
    "incident_ratio": marked("key to {light} {ratio:ratio}, each alone (incident)"),
    "highlight_ratio": marked("(key + fill) to fill {ratio:ratio} (highlight to shadow)"),
    "as_strong_as_key": marked("{light} as strong as the key"),
    "under_key": marked("{light} {stops:stops_word} under the key"),
    "above_key": marked("{light} {stops:stops_word} above the key"),
    "is_set": marked("leave it, {said}"),
    "set_and_waits": marked("set as told, waits for its pop: {do}"),
    "waits_first": marked("{light} is set as told and waits for its pop first: {do}"),
    # match
    "not_in_stored": marked("{light} has no reading in the stored set"),
    "missing_light": marked("{light} is missing: set it up and add it to the set"),
    "waits_for_pop": marked("{light} waits for its pop"),
    "metered_unlike_kind": marked("metered as {now} light now, as {then} light then: meter it as then"),
    "metered_unlike_receptor": marked("metered with the {now} receptor now, with the {then} one then: meter it as then"),
    "expected_only": marked("{said}; turned since its last pop, so this is what to expect"),
    "in_doubt": marked("{said}; fire it once more first: {doubt}"),
    "other_head": marked("head {now} instead of {then}"),
    "other_modifier": marked("modifier {now} instead of {then}"),
    "other_shape": marked("another shape or size of source"),
    "other_grid": marked("another grid"),
    "other_gel": marked("another gel"),
    "other_diffusers": marked("other diffusers"),
    "more_output": marked("{stops:stops_word} more at the same power and distance: another head, tube or modifier?"),
    "less_output": marked("{stops:stops_word} less at the same power and distance: another head, tube or modifier?"),
    "matches": marked("{light} matches ({stops:stops2} ± {u95:.1f})"),
    "matches_camera": marked("{light} matches ({stops:stops2} ± {u95:.1f}, the camera's {camera:stops2} counted in)"),
    "over": marked("{light} is {stops:stops_word} over (± {u95:.1f})"),
    "under": marked("{light} is {stops:stops_word} under (± {u95:.1f})"),
    "follows_source": marked("leave it, it follows its source"),
    "not_sure": marked("leave it as it is, one pop is not sure enough"),
    "all_alike_open": marked(
        "all lights are {stops:stops_word} under alike: open up by {thirds}/3 stop, or set {iso:iso}, instead of touching {lights} "
        "lights"
    ),
    "all_alike_close": marked(
        "all lights are {stops:stops_word} over alike: close down by {thirds}/3 stop, or set {iso:iso}, instead of touching "
        "{lights} lights"
    ),
    "most_alike_open": marked(
        "{lights} of {of} lights are {stops:stops_word} under alike: open up by {thirds}/3 stop, or set {iso:iso}, instead of "
        "touching {lights} lights"
    ),
    "most_alike_close": marked(
        "{lights} of {of} lights are {stops:stops_word} over alike: close down by {thirds}/3 stop, or set {iso:iso}, instead of "
        "touching {lights} lights"
    ),
    "camera_leaves": marked("{said} (leaves {left:stops2})"),
}
