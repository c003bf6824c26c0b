"""Pairs of one range -> its scale: what is refused, what is weighed, and how straight the range is."""

from __future__ import annotations

import math

from meterlink.calibration.evidence import Dark, Pair
from meterlink.errors import CalibrationError
from meterlink.photometry import calibration_fit as cf
from meterlink.words.actions import Do
from meterlink.words.told import Told, told, written

MIN_PAIRS = 4
"""Pairs a range needs for a scale of its own: fewer cannot show that one of them is wrong."""
MIN_SPAN_STOPS = 2.0
"""From the dimmest to the brightest pair of a range."""
EXCESS_LIMIT = 3.5
"""Scatter beyond what the pairs claim (in standard deviations) at which they are refused: one chance in 4,000."""
OUTLIER_SIGMAS, OUTLIER_STOPS = 3.5, 0.15
KIND_GAP_STOPS = 1 / 3
"""Steady and flash pairs of one range further apart than this have a cause that a mean would hide."""
BEND_LIMIT = 0.06
"""Change of the scale from an empty to a full range beyond which a range is no longer called linear."""


def net_of(pair: Pair, dark: Dark) -> tuple[float, float]:
    """Raw value above dark and its relative standard uncertainty; a pop is above its own ambient already."""
    if pair.kind == "flash":
        return pair.raw, pair.u_raw_rel
    net = pair.raw - dark.raw
    if net <= 0:
        return net, math.inf
    return net, math.hypot(pair.u_raw_rel * pair.raw, dark.u_raw) / net


def usable(pairs: list[Pair], dark: Dark, name: str, warnings: list[Told]) -> list[Pair]:
    """Refuse what cannot carry a scale; take flash pairs alone when steady ones say something slightly else."""
    for pair in pairs:
        if not (net_of(pair, dark)[0] > 0 and pair.light > 0):
            raise CalibrationError(
                "pair {label} of range {name} is not above the dark: leave it out",
                label=pair.label or '?', name=written(name, "range"),
            )
    flash, steady = ([p for p in pairs if p.kind == kind] for kind in ("flash", "steady"))
    if len(flash) < 2 or len(steady) < 2:
        return pairs
    a, b = (_log_scale(group, dark) for group in (flash, steady))
    gap, u_gap = (b[0] - a[0]) * cf.STOPS, math.hypot(a[1], b[1]) * cf.STOPS
    if abs(gap) > max(KIND_GAP_STOPS, 3 * u_gap):
        raise CalibrationError(
            "range {name}: steady light and flash disagree by {gap:.2f} stop, more than a lamp's colour can "
            "do: check that the reference was in the right mode and that no pop was cut short, then take the "
            "pairs again",
            name=written(name, "range"), gap=abs(gap),
        )
    if abs(gap) > max(0.05, 3 * u_gap):
        warnings.append(told("pairs_unlike", range=name, gap=gap))
        return flash
    return pairs


def _log_scale(pairs: list[Pair], dark: Dark) -> tuple[float, float]:
    logs, us = [], []
    for pair in pairs:
        net, u_net = net_of(pair, dark)
        logs.append(math.log(pair.light / net))
        us.append(math.hypot(u_net, pair.u_light_rel))
    mean = cf.weighted_mean(logs, us)
    return float(mean.parameters[0]), float(mean.standard_uncertainties[0]) * max(1.0, mean.birge)


def fit_range(pairs: list[Pair], dark: Dark, name: str, full_raw: float = 1.0, *, relaxed: bool = False) -> cf.ScaleFit:
    """Fit one range's scale, or refuse: too few, too close together, an outlier (named), a bend, scatter.

    ``relaxed`` takes two pairs without a span: those of a guide number, whose own uncertainty is far larger.
    """
    nets = [net_of(p, dark) for p in pairs]
    least = 2 if relaxed else MIN_PAIRS
    if len(pairs) < least:
        raise CalibrationError(
            "range {name} has {count} pairs: take at least {least}, from dim to bright",
            name=written(name, "range"), count=len(pairs), least=least,
        )
    by_kind = ([net for p, (net, _) in zip(pairs, nets, strict=True) if p.kind == kind] for kind in ("flash", "steady"))
    span = max((math.log2(max(group) / min(group)) for group in by_kind if group), default=0.0)
    if span < MIN_SPAN_STOPS and not relaxed:
        raise CalibrationError(
            "the pairs of range {name} span {span:.1f} stops: change distance or power and span "
            "{min_span_stops:g}",
            name=written(name, "range"), span=span, min_span_stops=MIN_SPAN_STOPS,
        )
    us = [max(math.hypot(u, p.u_light_rel), 1e-4) for p, (_, u) in zip(pairs, nets, strict=True)]
    levels = [_level(p, net / full_raw) for p, (net, _) in zip(pairs, nets, strict=True)]
    fit = cf.fit_scale([n for n, _ in nets], [p.light for p in pairs], us, levels)
    off = float(fit.residuals_stops[fit.worst])
    label = pairs[fit.worst].label or f"{fit.worst + 1}"
    outlier = fit.worst_sigmas > OUTLIER_SIGMAS and abs(off) > OUTLIER_STOPS
    bent = abs(fit.bend) > BEND_LIMIT and abs(fit.bend) > 3 * fit.u_bend
    if relaxed and (outlier or bent or fit.excess > EXCESS_LIMIT):
        # Of so few a wrong distance bends and scatters as much as it stands out.
        raise CalibrationError(
            "range {name}: {label} lies {off:.2f} stop above the others: measure the flash's distances again"
            if off > 0
            else "range {name}: {label} lies {off:.2f} stop below the others: measure the flash's distances again",
            name=written(name, "range"), label=label, off=abs(off),
        )
    if outlier:
        raise CalibrationError(
            "range {name}: pair {label} lies {off:.2f} stop above the others: take that pair again, reference and dome at the "
            "very same place"
            if off > 0
            else "range {name}: pair {label} lies {off:.2f} stop below the others: take that pair again, reference and dome "
            "at the very same place",
            name=written(name, "range"), label=label, off=abs(off),
        )
    if bent:
        raise CalibrationError(
            "range {name} is not linear: its scale changes by {bend:+.0%} from empty to full: keep the "
            "brightest pairs below 90 % of full scale, and if it stays: {do}",
            name=written(name, "range"), bend=fit.bend, do=Do("verify"),
        )
    if fit.excess > EXCESS_LIMIT:
        spread = float(fit.residuals_stops.std())
        raise CalibrationError(
            "the pairs of range {name} scatter by {spread:.2f} stop, more than reference and sensor can: fix "
            "lamp and sensor in place and take them again",
            name=written(name, "range"), spread=spread,
        )
    return fit


def _level(pair: Pair, net: float) -> float:
    """How far up its range a pair reached; a pulse lives at half of its peak on average."""
    if pair.kind == "steady":
        return net
    return 0.5 * pair.peak_raw if pair.peak_raw is not None else 0.25
