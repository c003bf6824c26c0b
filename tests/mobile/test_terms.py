"""Words of the trade that one touch explains."""

from __future__ import annotations

import pytest

from mobile.terms import TERMS, terms_in
from mobile.texts import EN


def test_words_of_the_trade_are_found_in_what_is_said() -> None:
    """Whatever their case, in the order of the list, each once."""
    said = "FILL against the key: it lies 0.004 Duv toward green", "KEY (t0.1 1/400 s): say its azimuth, azimuth 40"

    assert terms_in(*said) == ("t01", "duv", "azimuth")
    assert terms_in("KEY (t0,1 1/400 s): der Azimut fehlt") == ("t01", "azimuth")
    assert terms_in("the fill is over by a stop") == ()


@pytest.mark.parametrize("key", TERMS)
def test_each_has_its_explanation(key: str) -> None:
    """The explanation begins with the word itself and says it in two sentences."""
    assert EN[f"explain.{key}"].casefold().startswith(TERMS[key].casefold())
    assert EN[f"explain.{key}"].count(". ") >= 1
