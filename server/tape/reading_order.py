"""Which way a text runs: forwards, or from its end to its beginning.

The signs are facts of program listings and plain prose (common practice, no source).
"""

import re
from math import exp, log

_SAMPLE = 8192
"""Characters that are looked at; a text does not change its direction on the way."""

_WORDS = (
    "PRINT INPUT GOTO GOSUB RETURN NEXT THEN REM DATA READ LET DIM FOR STEP END STOP TO "
    "MVI LXI JMP CALL PUSH POP LDA STA MOV ORG EQU LDX JSR "
    "THE AND ING ION ENT ARE YOU WITH FROM THIS TAPE"
).split()


def _pattern(*alternatives: str) -> re.Pattern[bytes]:
    return re.compile("|".join(alternatives).encode(), re.IGNORECASE)


_SIGNS = (
    # What a forward text shows, what the same shows from behind, what one surplus weighs, and
    # the most that all of them together weigh, in natural-log odds.
    (_pattern(*_WORDS), _pattern(*(word[::-1] for word in _WORDS)), 0.5, 12.0),
    (_pattern(r"\r\n"), _pattern(r"\n\r"), 0.8, 3.0),
    (_pattern(r"[.,;:] ", r"\("), _pattern(r" [.,;:]", r"\)[^()]*\("), 0.2, 3.0),
    (_pattern(r"(?:^|[\r\n])\d+ ?[A-Z]"), _pattern(r"[A-Z] ?\d+(?:$|[\r\n])"), 0.3, 3.0),
)

_EXPECTED = 1.0
"""Log-odds, before looking, that a tape was put in the reader the right way (a judgement)."""


def forward_odds(text: bytes) -> float:
    """Log-odds that `text`, in ISO 646, runs forwards; 0 where nothing tells."""
    sample = text[:_SAMPLE]
    odds = 0.0
    for forward, backward, weight, most in _SIGNS:
        surplus = len(forward.findall(sample)) - len(backward.findall(sample))
        odds += max(-most, min(most, weight * surplus))
    return odds


def likelihood_forward(text: bytes, *, turned: bool) -> float:
    """How likely (0 to 1) `text` runs forwards, given that it was `turned` end for end or not."""
    expected = -_EXPECTED if turned else _EXPECTED
    return 1 / (1 + exp(-(forward_odds(text) + expected)))


_WORDS_IN_TEXT, _WORDS_BY_CHANCE = 0.05, 0.008
"""How often a character begins one of the words above: in plain text and listings, and in
letters at random (counted on texts made for this, and rounded against the text)."""


def readable_odds(text: bytes) -> float:
    """Log-odds that `text` is made of words, and not of letters at random."""
    sample = text[:_SAMPLE]
    words = len(_SIGNS[0][0].findall(sample))
    return words * log(_WORDS_IN_TEXT / _WORDS_BY_CHANCE) - len(sample) * (
        _WORDS_IN_TEXT - _WORDS_BY_CHANCE
    )


def likelihood_readable(text: bytes, *, turned: bool) -> float:
    """How likely (0 to 1) `text` makes sense as it stands, `turned` end for end or not.

    For a code in which every frame is a character, and only the words tell.
    """
    expected = -_EXPECTED if turned else 0.0
    return 1 / (1 + exp(-(min(_SURE, readable_odds(text)) + expected)))


_SURE = 12.0
