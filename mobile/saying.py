"""Sentences of the library, said on a phone: the same words without the commands of the command line."""

from __future__ import annotations

import re

_VERBS = (
    "demo|sensors|watch|setup|light|meter|undo|reassign|ratios|checks|match|compare|targets|sheet|export|import|merge|sync|falloff|"
    "calibrate|verify|store"
)
_COMMAND = re.compile(rf"\bmeterlink (?:{_VERBS})\b")
_BRACKETS = re.compile(r" ?\([^()]*\)")
_CLAUSE = re.compile(r"([:;,] )")


def without_commands(text: str, otherwise: str | None = None) -> str:
    """Return ``text`` without the clauses and brackets that name a command; unchanged when it names none.

    Of a sentence that is nothing but a command ``otherwise`` is left; without it the sentence stays as it is: a strange
    hint is better than none.
    """
    if not _COMMAND.search(text):
        return text
    kept = _BRACKETS.sub(lambda found: "" if _COMMAND.search(found[0]) else found[0], text)
    parts = _CLAUSE.split(kept)
    clauses = [(parts[i - 1] if i else "", parts[i]) for i in range(0, len(parts), 2)]
    left = [(sign, clause) for sign, clause in clauses if not _COMMAND.search(clause)]
    said = "".join(sign + clause for sign, clause in left).strip(" :;,")
    return said or (text if otherwise is None else otherwise)


TERMS = {"t01": "t0.1", "duv": "duv", "azimuth": "azimut"}
"""Words of the trade that one touch explains, by what they begin with in the library's sentences, in every language."""


def terms_in(*sentences: str) -> tuple[str, ...]:
    """Return the keys of the words of the trade that stand in these sentences."""
    said = " ".join(sentences).casefold().replace(",", ".")  # German writes t0,1
    return tuple(key for key, word in TERMS.items() if word in said)
