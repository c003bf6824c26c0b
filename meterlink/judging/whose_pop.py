"""Whose pop was it?  A likelihood over all lights that wait, and the one assignment that fits all pops of a walk.

Each light that may fire is a ``Candidate``: what its pop should give at the dome, how long it should last, what form and what
colour it should have, each with a width that its head's own readings have earned (``candidate_of``).  ``WhosePop`` keeps every
assignment of the pops heard so far to different lights that is not absurd, with its weight; a pop may also repeat a light
or belong to none of them.  A later pop so tells more of an earlier one, and the best assignment may change it.

Levels are log2 of lx·s, durations log2 of seconds, colours mired.  Standard library only.
"""

from collections.abc import Container, Iterable, Mapping, Sequence
from math import exp, inf, log, log2, sqrt
from typing import NamedTuple

from meterlink.judging.case import Falloff, axial_light, emission_of
from meterlink.judging.likelihood import log_normal, normal
from meterlink.judging.over_power import Clue, Prior, Trait, learn_over_power
from meterlink.judging.prediction import Past, predict
from meterlink.photometry.sources import source_of
from meterlink.records import Light, Measurement, Placement, Reading, Settings

SURE_ODDS = 200.0
"""From these odds on a pop is said to be a light's without naming a second one."""
NONE = ""
"""The id that stands for none of the lights."""
P_NONE = 0.002
"""A neighbour's flash, a head that is no light of the set: our own estimate, no published source."""
P_AGAIN = 0.01
"""A light that has its pop already is fired once more: our own estimate."""
P_NAMED_AGAIN = 0.0002
"""The same of a light that she has named herself for that pop: she knows what she has fired (our own estimate)."""
P_ASTRAY = 0.005
"""A dial turned or a stand moved without a word: its pop is the head's by form alone."""
U_ASTRAY_STOPS = 1.5
U_NONE_STOPS = 3.0
U_DIAL_STOPS = 0.07
"""A dial set anew, k=1: within 0.1 stop then and now (two flat distributions of that half-width)."""
ALIKE = 0.5
"""Separation (``separation``) below which two lights cannot be told apart: about two widths of their difference."""
HELD = 7
"""Distances held off that stand for the assumed reach."""
MEASURED_M = (0.0, 0.03, 0.06, 0.1, 0.15, 0.2, 0.3, 0.4, 0.6)
MOST_ASSIGNMENTS = 2000
LEAST_WEIGHT = 1e-9
U_SHAPE = 0.022
"""log2 of t0.1, and of t0.5/t0.1, from pop to pop of one head: 1.5 %, our own estimate.  The sensor's noise counts by itself
(``U_DURATION_NOISE``, ``U_FORM_NOISE``: on the chip's model it is all that there is besides)."""
DURATION = Prior(log2(1 / 800), 1.0, 0.4, 0.12, U_SHAPE)
"""log2 of t0.1 in s: heads of the trade from 1/200 to 1/4000 s (common practice, no published source)."""
FORM = Prior(log2(0.4), 0.35, 0.1, 0.08, U_SHAPE)
"""log2 of t0.5/t0.1: about 0.3 for a capacitor that runs empty (an exponential: log 2 / log 10), more when it is cut off."""
COLOUR = Prior(1e6 / 5600, 12.0, 3.0, 1.5, 1.5)
U_LEAST_LEVEL = 0.02
U_DURATION_NOISE, U_FORM_NOISE = 3.0, 4.0
"""log2 of t0.1, and of t0.5/t0.1, that a pop's own noise makes uncertain for each unit of its exposure's ``u_rel``: small pops of
the chip's model, 0.2 to 1.5 ms long (measured; no published source)."""


class Seen(NamedTuple):
    """What a pop shows of itself; None for what the sensor does not see."""

    level: float
    """log2 of lx·s at the dome, as read."""
    u_level: float
    """From noise and from pop to pop."""
    u_rel: float = 0.0
    """From noise alone: a small pop does not show its duration well."""
    duration: float | None = None
    form: float | None = None
    mired: float | None = None
    held_off_m: float | None = None
    """As measured by a ranger or said for this pop."""
    u_held_off_m: float = 0.01


class Candidate(NamedTuple):
    """A light that may fire, and what its pop should show."""

    light_id: str
    levels: tuple[float, ...] = ()
    """log2 of lx·s at the dome, one for each of the equally likely distances it is held off; empty: nothing is known."""
    u_level: float = 0.0
    duration: Clue = Clue(DURATION.mean, DURATION.u_level)
    form: Clue = Clue(FORM.mean, FORM.u_level)
    colour: Clue = Clue(COLOUR.mean, COLOUR.u_level)
    at_point: float = 0.0
    """log2 of lx·s at the light's point."""
    reach: tuple[tuple[float, float], ...] = ()
    """(held-off distance in m, stops that the dome reads above the point there): for pops whose distance is measured."""

    @property
    def known(self) -> bool:
        """Whether its level can be predicted at all."""
        return bool(self.levels)

    @property
    def level(self) -> Clue:
        """Mean and width of its level, held-off distance and all."""
        if not self.levels:
            return Clue(log2(100.0), U_NONE_STOPS)
        mean = sum(self.levels) / len(self.levels)
        return Clue(mean, sqrt(self.u_level**2 + sum((one - mean) ** 2 for one in self.levels) / len(self.levels)))

    def log_density(self, seen: Seen) -> float:
        """Log of how likely this light gives just this pop; a small part of it allows for a dial turned without a word."""
        mean, width = self.level
        if self.levels:
            u = sqrt(max(self.u_level, U_LEAST_LEVEL) ** 2 + seen.u_level**2)
            levels = self.levels
            if seen.held_off_m is not None and self.reach:
                hot, slope = _hot_at(self.reach, seen.held_off_m)
                levels, u = (self.at_point + hot,), sqrt(u * u + (slope * seen.u_held_off_m) ** 2)
            sharp = sum(normal(seen.level - one, u) for one in levels) / len(levels)
            wide = normal(seen.level - mean, sqrt(width**2 + U_ASTRAY_STOPS**2))
            total = log(max((1 - P_ASTRAY) * sharp + P_ASTRAY * wide, 1e-300))
        else:
            total = log_normal(seen.level - mean, width**2)
        return total + traits(seen, self.duration, self.form, self.colour)


def _hot_at(reach: tuple[tuple[float, float], ...], held_off_m: float) -> tuple[float, float]:
    """Stops above the point at a distance, and their slope per metre; beyond the table its last step goes on."""
    i = next((i for i, (d, _) in enumerate(reach) if d > held_off_m), len(reach) - 1)
    (d0, s0), (d1, s1) = reach[max(0, i - 1)], reach[max(1, i)]
    slope = (s1 - s0) / (d1 - d0)
    return s0 + slope * (held_off_m - d0), slope


def traits(seen: Seen, duration: Clue, form: Clue, colour: Clue) -> float:
    """Log-density of a pop's duration, form and colour."""
    total = 0.0
    for value, clue, prior, noise in (
        (seen.duration, duration, DURATION, U_DURATION_NOISE), (seen.form, form, FORM, U_FORM_NOISE),
        (seen.mired, colour, COLOUR, 0.0),
    ):  # fmt: skip
        if value is not None:
            u = sqrt(clue.u**2 + prior.u_reading**2 + (noise * seen.u_rel) ** 2)
            # A hundredth of the broad curve below: a head that was repaired, a pop that was read oddly.
            sharp, wide = normal(value - clue.mean, u), normal(value - clue.mean, sqrt(u * u + prior.u_level**2))
            total += log(max(0.99 * sharp + 0.01 * wide, 1e-300))
    return total


def seen_of(m: Measurement | Reading, settings: Settings) -> Seen | None:
    """Return what a measured pop shows, its distance too where the sensor measures it; None without light."""
    if not m.exposure_lxs or m.exposure_lxs <= 0.0:
        return None
    duration = log2(m.t01_s) if m.t01_s and m.t01_s > 0.0 else None
    form = log2(m.t05_s / m.t01_s) if m.t05_s and m.t01_s and m.t05_s > 0.0 and m.t01_s > 0.0 else None
    mired = 1e6 / m.cct_k if m.cct_k and m.cct_k > 0.0 else None
    u_level = sqrt(settings.u_repeat_stops**2 + (m.u_rel / log(2.0)) ** 2)
    u_held = m.u_held_off_m if m.u_held_off_m is not None else settings.u_held_off_min_m
    return Seen(log2(m.exposure_lxs), u_level, m.u_rel, duration, form, mired, m.held_off_m, u_held)


def candidate_of(
    light: Light,
    placement: Placement | None,
    pasts: Iterable[Past],
    settings: Settings,
    *,
    receptor: str = "dome",
    calibration_id: str = "",
    held_off_m: float | None = None,
    falloff: Falloff | None = None,
) -> Candidate:
    """Return what a light's next pop should show, from everything its head has shown before.

    ``held_off_m`` is what was declared for the pop; undeclared, the whole assumed reach toward the light is as likely.
    """
    if placement is None or light.source_light_id:
        return Candidate(light.id)
    mine = [one for one in pasts if one.reading.kind == "flash" and one.is_of(light)]
    power = placement.power_stops
    at = [(p, r.t01_s, r) for one in mine if (p := one.placement.power_stops) is not None and (r := one.reading).t01_s]
    lasted = [Trait(p, log2(t01_s), U_DURATION_NOISE * r.u_rel) for p, t01_s, r in at]
    duration = learn_over_power(lasted, DURATION).at(power)
    formed = [Trait(p, log2(r.t05_s / t01_s), U_FORM_NOISE * r.u_rel) for p, t01_s, r in at if r.t05_s]
    form = learn_over_power(formed, FORM).at(power)
    tinted = [one for one in mine if (one.light.modifier, one.placement.gel) == (light.modifier, placement.gel)]
    coloured = [Trait(one.placement.power_stops or 0.0, 1e6 / cct_k) for one in tinted if (cct_k := one.reading.cct_k)]
    colour = learn_over_power(coloured, COLOUR).at(power)
    # Metered as it stands now, in this very set: what its head gave elsewhere could only blur that.
    own = [one for one in mine if one.light.id == light.id and one.placement.id == placement.id]
    found = predict(
        light, placement, own or mine, settings, calibration_id=calibration_id, receptor=receptor, falloff=falloff
    )  # fmt: skip
    if found is None:
        return Candidate(light.id, (), 0.0, duration, form, colour)
    u = found.u_stops if found.same_setup else sqrt(found.u_stops**2 + U_DIAL_STOPS**2)
    low, high = settings.assumed_reach_min_m, settings.assumed_reach_max_m
    if held_off_m is not None:
        half = sqrt(3.0) * settings.u_held_off_m(held_off_m)
        low, high = held_off_m - half, held_off_m + half
    held = [low + (high - low) * (i + 0.5) / HELD for i in range(HELD)]
    levels = tuple(found.value + hot for hot in _hotter(placement, receptor, held, falloff))
    reach = tuple(zip(MEASURED_M, _hotter(placement, receptor, MEASURED_M, falloff), strict=True))
    return Candidate(light.id, levels, u, duration, form, colour, found.value, reach)


def _hotter(placement: Placement, receptor: str, held_m: Sequence[float], falloff: Falloff | None) -> list[float]:
    """Stops that the dome reads above the point, held off so far toward the light (no nearer to it than a tenth of the way)."""
    if placement.distance_m is None:
        return [0.0] * len(held_m)
    near = [max(placement.distance_m - one, 0.1 * placement.distance_m) for one in held_m]
    if falloff is not None:
        return [falloff.change_stops(placement.distance_m, one) for one in near]
    source, n = source_of(*placement.surface), emission_of(placement)
    here = axial_light(source, placement.distance_m, receptor, n)[0]
    return [log2(axial_light(source, one, receptor, n)[0] / here) for one in near]


# -- lights that cannot be told apart ---------------------------------------------------------------------------


def separation(a: Candidate, b: Candidate) -> float:
    """Return how well one pop tells two lights apart: their distributions' Bhattacharyya distance.

    Equal widths u and means that differ by d give (d/u)²/8.  Bhattacharyya (1943), the Gaussian case from memory.
    """
    total = 0.0
    for x, y, u in (
        (a.level, b.level, 0.03),
        (a.duration, b.duration, DURATION.u_reading),
        (a.form, b.form, FORM.u_reading),
    ):
        va, vb = x.u**2 + u * u, y.u**2 + u * u
        total += (x.mean - y.mean) ** 2 / (4 * (va + vb)) + 0.5 * log((va + vb) / (2 * sqrt(va * vb)))
    return total


def in_order(candidates: Sequence[Candidate], alike: float = ALIKE) -> tuple[dict[str, set[str]], list[list[str]], list[str]]:
    """Return which lights must come after which, groups that cannot be told apart, and lights of which nothing is known.

    Lights of which nothing is known come in the announced order among themselves when there are two or more, and so do those of
    a group; all others may fire whenever they like.  Ids in the order of ``candidates``.
    """
    after: dict[str, set[str]] = {}
    unknown = [one.light_id for one in candidates if not one.known]
    for i, name in enumerate(unknown[1:], 1):
        after.setdefault(name, set()).update(unknown[:i])
    known = [one for one in candidates if one.known]
    groups: list[list[str]] = []
    by_id = {one.light_id: one for one in known}
    for one in known:
        near = [group for group in groups if any(separation(one, by_id[other]) < alike for other in group)]
        for other in (other for group in near for other in group if separation(one, by_id[other]) < alike):
            after.setdefault(one.light_id, set()).add(other)
        groups = [group for group in groups if group not in near]
        groups.append([*(other for group in near for other in group), one.light_id])
    return after, [group for group in groups if len(group) > 1], unknown if len(unknown) > 1 else []


# -- all pops of a walk -----------------------------------------------------------------------------------------


class Answer(NamedTuple):
    """Whose the pops of a walk are, as far as is known now."""

    lights: tuple[str, ...]
    """The assignment that fits all pops best, one id a pop in the order heard; ``NONE`` for none of them."""
    odds: float
    """That the pop asked for is the light's that it was given to, against everything else."""
    second: str
    """The next likeliest light of that pop, or ``NONE``."""

    @property
    def light_id(self) -> str:
        """The last pop's light."""
        return self.lights[-1]

    @property
    def sure(self) -> bool:
        """Whether the second need not be named."""
        return self.odds >= SURE_ODDS


class WhosePop:
    """Hears pop after pop of one walk and keeps every assignment that is not absurd."""

    def __init__(self, candidates: Sequence[Candidate], after: Mapping[str, set[str]] | None = None) -> None:
        """``after``: the lights that must have had their pop before this one may."""
        self.candidates = list(candidates)
        self.after = after or {}
        self.pops: list[Seen] = []
        self._named: set[str] = set()
        """Lights of which the photographer has said that a pop was theirs."""
        self._ways: list[tuple[float, tuple[str, ...]]] = [(0.0, ())]
        """Log-weight and assignment."""

    def hear(self, seen: Seen, not_of: Container[str] = ()) -> Answer:
        """Take one more pop, which cannot be of the lights ``not_of``, and say whose they all are."""
        by_light = {one.light_id: one.log_density(seen) for one in self.candidates if one.light_id not in not_of}
        known = {one.light_id for one in self.candidates if one.known}
        none = log(P_NONE) + Candidate(NONE).log_density(seen)
        grown: list[tuple[float, tuple[str, ...]]] = []
        for weight, way in self._ways:
            used = set(way)
            free = [one for one in by_light if one not in used and self.after.get(one, set()) <= used]
            # Where nothing is known of those that wait nothing tells: it is the turn of the next, however alike the pops are.
            tells = not free or bool(known.intersection(free))
            again = [one for one in by_light if one in used] if tells else []
            # Nor does anything tell a light from the one that was told to come after it: the order that was told is believed.
            told = {before for one in free for before in self.after.get(one, ())}
            again = [one for one in again if one not in told]
            if tells:
                grown.append((weight + none, (*way, NONE)))
            new = weight + log((1 - P_NONE - P_AGAIN) / max(1, len(free)))
            grown.extend((new + by_light[one], (*way, one)) for one in free)
            for one in again:
                once_more = log((P_NAMED_AGAIN if one in self._named else P_AGAIN) / len(again))
                grown.append((weight + once_more + self._once_more(seen, way, one), (*way, one)))
        self.pops.append(seen)
        self._keep(grown)
        return self.answer()

    def fix(self, pop: int, light_id: str) -> None:
        """The photographer has said whose pop this was: every other assignment of it is out."""
        self._named.add(light_id)
        left = [(weight, way) for weight, way in self._ways if way[pop] == light_id]
        if not left:
            # Thought absurd until now: she knows better.
            best = max(self._ways)
            taken = tuple(NONE if one == light_id else one for one in best[1])
            left = [(0.0, (*taken[:pop], light_id, *taken[pop + 1 :]))]
        self._keep(left)

    def must_be_one(self, pop: int) -> None:
        """It came twice, so it is no stranger's: one of the lights it is, however unlikely."""
        left = [(weight, way) for weight, way in self._ways if way[pop] != NONE]
        if left:
            self._keep(left)

    def answer(self, pop: int = -1) -> Answer:
        """Whose the pops are now; ``odds`` and ``second`` are of this pop (usually the last)."""
        best = max(self._ways)[1]
        shares: dict[str, float] = {}
        for weight, way in self._ways:
            shares[way[pop]] = shares.get(way[pop], 0.0) + exp(weight)
        mine = shares.pop(best[pop])
        rest = sum(shares.values())
        second = max(shares, key=lambda one: shares[one]) if shares else NONE
        return Answer(best, mine / rest if rest > 0.0 else inf, second)

    def may_be_exchanged(self, pop: int, with_light: str, odds: float = SURE_ODDS) -> bool:
        """Whether this pop and the one that was given to another light may be each other's, by less than these odds."""
        best = max(self._ways)[1]
        if with_light not in best:
            return False
        other = len(best) - 1 - best[::-1].index(with_light)
        shares = {True: 0.0, False: 0.0}
        for weight, way in self._ways:
            shares[(way[pop], way[other]) == (best[other], best[pop])] += exp(weight)
        return shares[True] * odds > shares[False]

    def _keep(self, ways: list[tuple[float, tuple[str, ...]]]) -> None:
        ways.sort(reverse=True)
        top = ways[0][0]
        self._ways = [(weight - top, way) for weight, way in ways[:MOST_ASSIGNMENTS] if weight - top > log(LEAST_WEIGHT)]

    def _once_more(self, seen: Seen, way: tuple[str, ...], light_id: str) -> float:
        """Log-density of a pop that repeats a light's earlier one: alike but for the hand and the pop."""
        before = self.pops[len(way) - 1 - way[::-1].index(light_id)]
        one = next(one for one in self.candidates if one.light_id == light_id)
        hand = 0.05
        if isinstance(one, Candidate) and one.levels:
            hand = (max(one.levels) - min(one.levels)) / sqrt(6.0)
        total = log_normal(seen.level - before.level, hand**2 + seen.u_level**2 + before.u_level**2)
        for value, then, prior, noise in (
            (seen.duration, before.duration, DURATION, U_DURATION_NOISE), (seen.form, before.form, FORM, U_FORM_NOISE),
            (seen.mired, before.mired, COLOUR, 0.0),
        ):  # fmt: skip
            if value is not None and then is not None:
                u2 = 2.0 * prior.u_reading**2 + noise**2 * (seen.u_rel**2 + before.u_rel**2)
                total += log_normal(value - then, u2)
            elif value is not None:
                total += log_normal(value - prior.mean, prior.u_level**2)
        return total
