"""Words of the trade that one touch explains, where they stand on the screen; what the texts mean is never read from them."""

from __future__ import annotations

TERMS = {"t01": "t0.1", "duv": "duv", "azimuth": "azimut"}
"""Keys of the explanations, and how the word begins in every language."""


def terms_in(*shown: str) -> tuple[str, ...]:
    """Return the keys of the words that stand in these texts."""
    said = " ".join(shown).casefold().replace(",", ".")  # German writes t0,1
    return tuple(key for key, word in TERMS.items() if word in said)
