"""Which language is spoken, and how numbers and errors are said in it."""

from __future__ import annotations

import copy
import pickle

import pytest

from meterlink import units
from meterlink.errors import GeometryError, LinkError, UnitError, UsageError
from meterlink.records.placement_rules import check_held_off
from meterlink.words import language
from meterlink.words.actions import Do
from meterlink.words.language import Place, say, use


@pytest.mark.parametrize(
    ("environ", "spoken"),
    [
        ({}, "en"),
        ({"LANG": "de_DE.UTF-8"}, "de"),
        ({"LANG": "de_DE.UTF-8", "LC_ALL": "C"}, "en"),
        ({"LANG": "de_DE.UTF-8", "LC_MESSAGES": "en_GB"}, "en"),
        ({"LANG": "de_DE.UTF-8", "METERLINK_LANGUAGE": "en"}, "en"),
        ({"LANG": "en_GB", "METERLINK_LANGUAGE": "DE-at"}, "de"),
        ({"LANG": "fi_FI"}, "en"),
        ({"METERLINK_LANGUAGE": "../../etc"}, "en"),
    ],
)
def test_the_language_is_the_chosen_one_else_the_locales(
    environ: dict[str, str], spoken: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """METERLINK_LANGUAGE before LC_ALL before LC_MESSAGES before LANG; what we do not speak is English."""
    for name in ("METERLINK_LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environ.items():
        monkeypatch.setenv(name, value)
    use(None)

    assert language.language() == spoken


def test_an_error_is_said_in_the_language_that_is_spoken_when_it_is_read() -> None:
    """One error, two languages; template and values stay what they are."""
    error = UsageError("{light} has no reading and is not waited for: meter it first", light="KEY")

    assert str(error) == "KEY has no reading and is not waited for: meter it first"
    use("de")
    assert str(error) == "KEY hat keinen Messwert und wird nicht erwartet: zuerst messen"
    assert error.values == {"light": "KEY"}


def test_an_action_in_an_error_is_put_for_the_place() -> None:
    """A terminal names the command, a phone what to touch."""
    error = UsageError("say what is wanted, e.g. {do}", do=Do("undo"))

    assert str(error).endswith("meterlink undo")
    use("en", Place.PHONE)
    assert str(error).endswith("touch Take back")


def test_german_numbers_have_a_comma() -> None:
    """Decimal comma and points of thousands, in every format; texts are left alone."""
    use("de")

    assert say("{a:.2f} {b:,} {c:+.0%} {d} {e}", a=0.5, b=12000, c=0.25, d="1.5", e=2.5) == "0,50 12.000 +25 % 1.5 2,5"


def test_a_length_refused_in_german() -> None:
    """A refusal of a placement has German words, a comma and the name of the light."""
    use("de")
    with pytest.raises(GeometryError) as refused:
        check_held_off(50.5, None, "KEY")

    assert "0 bis 50 m" in str(refused.value)
    assert "50,5 m" in str(refused.value)


def test_an_unknown_unit_in_german() -> None:
    """What was typed cannot be read: said in German as a whole, with what is accepted."""
    use("de")
    with pytest.raises(UnitError) as refused:
        units.parse_length("1.2")

    assert str(refused.value) == "Länge '1.2' hat keine Einheit: 1.2m, 1.2cm oder 1.2in tippen"


def test_a_damaged_translation_hides_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """A translation that asks for what is not there is said in English instead."""
    monkeypatch.setattr(language, "translated", lambda _: "{nothing} {light}")

    assert say("there is {light}", light="KEY") == "there is KEY"


def test_errors_can_be_copied_and_sent() -> None:
    """An error survives copying and pickling with template, values and attributes, as between processes."""
    lost = LinkError("{url} is gone", "ble:1", url="ble:1")
    for error in (UsageError("{a} is {b:g}", a="x", b=1.5), lost, UnitError("{a}", "t", a=1)):
        for again in (copy.copy(error), pickle.loads(pickle.dumps(error))):
            assert str(again) == str(error)
            assert vars(again) == vars(error)


def test_a_template_without_values_may_have_braces() -> None:
    """A text that is no template is said as it stands."""
    assert str(UsageError("{ } in a name")) == "{ } in a name"
