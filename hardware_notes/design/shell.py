"""A model of the dome: how deep the diode is to stand below the rim.

A thin half sphere of radius 1. Every piece of its wall takes the light that falls on its outer side, less what a polished
surface of acrylic throws back (Fresnel, n = 1.49; none when the surface is sanded), and gives it on evenly in all directions
inside (Lambert). The diode stands on the axis, ``depth`` radii below the rim, and sees by cos^m of the angle, with m from its
half angle of 50° (data sheet). The walls of the housing are black. Not in the model: light that the wall hands on sideways,
and reflections inside the dome; both even the response out, so a real dome is a little better than these figures from the
side.
"""

from __future__ import annotations

import numpy as np

ANGLES_DEG = (30, 60, 90, 120)
DEPTHS = (0.0, 1 / 3, 0.5, 2 / 3, 1.0)
DIODE_POWER = float(np.log(0.5) / np.log(np.cos(np.radians(50))))
ACRYLIC_N = 1.49


def fresnel(cos_in: np.ndarray) -> np.ndarray:
    """Part of unpolarised light that enters acrylic, by the cosine of its angle to the surface."""
    cos_in = np.clip(cos_in, 1e-9, 1)
    cos_out = np.sqrt(1 - (1 - cos_in**2) / ACRYLIC_N**2)
    s = (cos_in - ACRYLIC_N * cos_out) / (cos_in + ACRYLIC_N * cos_out)
    p = (ACRYLIC_N * cos_in - cos_out) / (ACRYLIC_N * cos_in + cos_out)
    return np.asarray(1 - (s**2 + p**2) / 2)


def reading(
    depth: float, angles_deg: tuple[float, ...], polished: bool = False, diode_power: float = DIODE_POWER, steps: int = 300
) -> np.ndarray:
    """What the diode gets of light from these directions, in a unit that is the same for every depth."""
    theta, phi = np.meshgrid(
        (np.arange(steps) + 0.5) / steps * np.pi / 2, (np.arange(steps) + 0.5) / steps * 2 * np.pi, indexing="ij"
    )
    normal = np.stack([np.sin(theta) * np.cos(phi), np.sin(theta) * np.sin(phi), np.cos(theta)], -1)
    to_diode = np.array([0.0, 0.0, -depth]) - normal
    far = np.linalg.norm(to_diode, axis=-1)
    leaving = np.clip(-(normal * to_diode).sum(-1) / far, 0, None)
    arriving = np.clip(-to_diode[..., 2] / far, 0, None) ** diode_power
    weight = leaving * arriving / far**2 * np.sin(theta)
    found = []
    for angle in np.radians(angles_deg):
        falls = np.clip(normal @ np.array([np.sin(angle), 0.0, np.cos(angle)]), 0, None)
        found.append((weight * falls * (fresnel(falls) if polished else 1.0)).sum())
    return np.array(found)


def error_stops(
    depth: float, angles_deg: tuple[float, ...] = ANGLES_DEG, polished: bool = False, diode_power: float = DIODE_POWER
) -> np.ndarray:
    """Reading by direction, that from the front being 1, against (1 + cos)/2; in stops."""
    front, *found = reading(depth, (0.0, *angles_deg), polished, diode_power)
    ideal = (1 + np.cos(np.radians(angles_deg))) / 2
    return np.asarray(np.log2(np.array(found) / front / ideal))


def light_stops(depth: float) -> float:
    """What a depth costs of the light from the front, against a third of the radius; in stops."""
    return float(np.log2(reading(depth, (0.0,))[0] / reading(1 / 3, (0.0,))[0]))


def table() -> str:
    """Rows of the note, for a sanded dome; what a polished one has at 90° behind it."""
    heads = ["diode below the rim", *(f"{a}°" for a in ANGLES_DEG), "90°, dome not sanded", "light"]
    lines = ["| " + " | ".join(heads) + " |", "|" + "---|" * len(heads)]
    names = {0.0: "at the rim", 1 / 3: "a third of the radius", 0.5: "half the radius", 2 / 3: "two thirds", 1.0: "the radius"}
    for depth in DEPTHS:
        figures = [*error_stops(depth), *error_stops(depth, (90,), polished=True), light_stops(depth)]
        lines.append(f"| {names[depth]} | " + " | ".join(f"{e:+.2f}" for e in figures) + " |")
    return "\n".join(lines)
