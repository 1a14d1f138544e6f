"""Letters out of columns of holes: the likeliest text, if it is one beyond chance."""

from math import exp, prod
from typing import Final, NamedTuple

import numpy as np

from server.tape.image import Frames
from server.tape.lettering.meeting import meet, promising
from server.tape.lettering.parsing import Letter, Parse, likeliest
from server.tape.lettering.spacing import text_of
from server.tape.lettering.templates import book

_GATE: Final = 64
"""Columns among which a letter must be found, or the rest is not looked at."""

_MOST_GROUPS: Final = 8
"""Sizes, heights and forms that are tried on a text, those with most letters in it first."""

_LEAST_PLACES: Final = 50
"""Places, punched or blank, that letters and digits must account for: two letters of five by
five with every hole in its place, or more of them."""

_PLACES_A_WRONG: Final = 8
"""How many of these places one wrong hole undoes."""

_MOST_SIGNS: Final = 2
"""Signs, strokes and points that may stand in a text for one letter or digit."""

_SUREST, _LEFT_BY_A_WRONG = 0.99, 0.96
"""The most confidence, and what each wrong hole leaves of it (a judgement)."""


class Reading(NamedTuple):
    """What columns say as letters, and how sure that is (0 to 1)."""

    text: str
    confidence: float


def read_letters(columns: Frames, levels: int) -> Reading | None:
    """What `columns`, not blank at either end, say; None if they are no letters.

    Letters must be of one alphabet in one size, stand equally high, and lie in one of the four
    ways in which a tape may be turned.
    """
    padded = np.concatenate([[0], columns, [0]]).astype(np.uint8)
    letters = book(levels)
    groups = promising(padded[:_GATE], letters, _MOST_GROUPS)
    found = [
        (parse, group)
        for group, hits in meet(padded, letters, groups).items()
        if (parse := likeliest(padded, hits)) and _beyond_chance(parse, letters.heights[group])
    ]
    texts: dict[str, Parse] = {}
    for parse, group in sorted(found, key=lambda each: (each[0].cost, each[1])):
        backwards = letters.forms[group].runs_backwards
        in_order = _from_behind(parse.letters, len(padded)) if backwards else parse.letters
        texts.setdefault(text_of(in_order, letters.cells[group]), parse)
    if not texts:
        return None
    text, parse = next(iter(texts.items()))
    # Some texts say another thing when the tape is turned: 66 or 99.
    whole = sum(exp(parse.cost - other.cost) for other in texts.values())
    return Reading(text, round(_confidence(parse) / whole, 4))


def _beyond_chance(parse: Parse, height: int) -> bool:
    """Whether two different letters or digits stand there, and so well that it is no chance."""
    telling = [letter for letter in parse.letters if letter.hit.glyph.telling]
    places = height * sum(letter.stop - letter.start for letter in telling)
    return (
        len({letter.hit.glyph.character for letter in telling}) > 1
        and places - _PLACES_A_WRONG * parse.wrong >= _LEAST_PLACES
        and len(parse.letters) - len(telling) <= _MOST_SIGNS * len(telling)
    )


def _from_behind(letters: tuple[Letter, ...], columns: int) -> list[Letter]:
    return [
        Letter(columns - letter.stop, columns - letter.start, letter.hit)
        for letter in reversed(letters)
    ]


def _confidence(parse: Parse) -> float:
    certain = prod(letter.hit.certainty for letter in parse.letters)
    return _SUREST * certain * _LEFT_BY_A_WRONG**parse.wrong
