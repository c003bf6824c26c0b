"""The model of the dome: which way a diode is to be moved."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from hardware_notes.design import shell


def test_a_deeper_diode_sees_more_from_the_side() -> None:
    """At 90° and 120° the error shrinks with every step down, at the cost of light; raising the diode makes it worse."""
    at_90 = [shell.error_stops(d, (90,))[0] for d in (0.1, 1 / 3, 0.5, 2 / 3, 1.0)]
    assert all(a < b < 0 for a, b in itertools.pairwise(at_90))
    assert shell.light_stops(0.5) < 0 < shell.light_stops(0.1)


def test_figures_of_the_audit_are_met_by_a_polished_dome() -> None:
    """An audit's own model has −0.45 stop at 90° for a third of the radius, −0.77 raised and −0.32 at half of it: ours,
    polished, −0.42,
    −0.78 (a tenth) and −0.26."""
    ours = [float(shell.error_stops(d, (90,), polished=True)[0]) for d in (1 / 3, 0.1, 0.5)]
    assert ours == pytest.approx([-0.45, -0.77, -0.32], abs=0.07)


def test_shell_of_lambertian_pieces_seen_from_its_centre_is_the_cosine_rule() -> None:
    """A shell without polish, far above a diode that sees by the cosine, answers with (1 + cos)/2 near its own radius below
    the rim: the
    flux of a hemisphere under parallel light (closed form) is that very law."""
    errors = shell.error_stops(1.0, (30, 60, 90, 120), diode_power=1.0)
    assert np.abs(errors).max() < 0.01


def test_fresnel_at_normal_incidence_is_the_textbook_loss() -> None:
    """A surface of n = 1.49 throws ((n − 1)/(n + 1))² = 3.87 % back; grazing light does not enter."""
    assert 1 - shell.fresnel(np.array(1.0)) == pytest.approx((0.49 / 2.49) ** 2)
    assert shell.fresnel(np.array(0.0)) < 1e-6
