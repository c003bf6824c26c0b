"""The catalogues say everything that the code says, and nothing else, in each language."""

from __future__ import annotations

import gettext

import catalogues
import pytest

from meterlink.words.language import CATALOGUES, DOMAIN, NAMES

LANGUAGES = pytest.mark.parametrize("language", catalogues.LANGUAGES)


def test_every_text_of_the_code_is_a_template() -> None:
    """No error and no ``say`` gets a text that was put together before: it could not be translated (and there are hundreds)."""
    assert len(catalogues.everything_said()) > 700


@LANGUAGES
def test_the_catalogue_has_just_what_the_code_says(language: str) -> None:
    """Extraction finds nothing new and nothing that is no longer said: ``python tests/words/catalogues.py`` puts it right."""
    ids = {(m.context, m.id) for m in catalogues.stored(language) if m.id}
    said = {(m.context, m.id) for m in catalogues.template() if m.id}

    assert said - ids == set()
    assert ids - said == set()


@LANGUAGES
def test_nothing_is_untranslated_or_guessed(language: str) -> None:
    """Every message has its words in every number, none of them marked as a guess."""
    for message in catalogues.stored(language):
        if message.id:
            words = message.string if isinstance(message.string, tuple) else (message.string,)
            assert all(words), message.id
            assert not message.fuzzy, message.id


@LANGUAGES
def test_a_translation_fills_the_same_places(language: str) -> None:
    """A sentence loses no value on its way into another language and asks for none that there is not."""
    for message in catalogues.stored(language):
        if message.id:
            ids = message.id if isinstance(message.id, tuple) else (message.id,)
            words = message.string if isinstance(message.string, tuple) else (message.string,)
            wanted = set().union(*map(catalogues.fields, ids))
            for text in words:
                assert catalogues.fields(text) == wanted, message.id


@LANGUAGES
def test_a_translation_begins_and_ends_as_its_sentence(language: str) -> None:
    """Blanks at the ends stay: what is put together must not run together."""
    for message in catalogues.stored(language):
        if isinstance(message.id, str) and message.id:
            for side in (str.lstrip, str.rstrip):
                assert len(message.id) - len(side(message.id)) == len(message.string) - len(side(message.string)), message.id


@LANGUAGES
def test_what_is_shipped_is_what_was_translated(language: str) -> None:
    """The compiled catalogue is the one that the translator's file gives, and gettext reads it."""
    assert catalogues.path_of(language, "mo").read_bytes() == catalogues.compiled(catalogues.stored(language))
    read = gettext.translation(DOMAIN, CATALOGUES, [language])
    assert read.gettext("begin a set-up") not in ("", "begin a set-up")


def test_every_language_but_english_has_its_folder() -> None:
    """What can be chosen is what is there."""
    there = {path.name for path in CATALOGUES.iterdir() if (path / "LC_MESSAGES").is_dir()}

    assert there == set(NAMES) - {"en"}
