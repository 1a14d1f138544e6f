"""A BASIC line as it is typed, to the token bytes that the interpreter stores.

The rules are those of the 8K class, from memory: at each place, outside quotes, the first keyword
of the table that stands there becomes its token, even in the midst of a name; a blank ends no
name and is kept, but none is allowed inside a keyword; `?` becomes PRINT; nothing is crunched
after REM, nor after DATA up to a colon outside quotes.

Lower case: outside quotes, REM and DATA it is taken as upper case. Later interpreters of the
class do so; earlier ones stored it as it was and then could not run the line.
"""

import re
from functools import cache

from server.tape.basic.dialect import Dialect
from server.tape.errors import CannotBuild

_DATA_ITEMS = re.compile(r'(?:[^":]+|"[^"]*"?)*')
_FOREIGN = re.compile(r"[^ -~]")


def crunch(text: str, dialect: Dialect) -> bytes:
    """The bytes that `dialect` stores for the line `text`, its line number left out.

    Raises:
        CannotBuild: the line holds a character that ISO 646 lacks, or a control character.
    """
    if foreign := _FOREIGN.search(text):
        raise CannotBuild(
            f"a BASIC line cannot hold the character {foreign[0]!r}",
            mend="write it in the printing characters of ISO 646, blank to ~",
        )
    scanner, tokens = _scanner(dialect), _tokens(dialect)
    crunched = bytearray()
    at = 0
    while match := scanner.match(text, at):
        piece, at = match[0], match.end()
        if piece.startswith('"'):
            crunched += piece.encode("ascii")
            continue
        word = piece.upper()
        crunched += tokens.get(word) or word.encode("ascii")
        literal = _literal_after(word, text, at)
        crunched += literal.encode("ascii")
        at += len(literal)
    return bytes(crunched)


def _literal_after(word: str, text: str, at: int) -> str:
    """What follows the keyword `word`, from `at`, and is stored as it stands."""
    if word == "REM":
        return text[at:]
    items = _DATA_ITEMS.match(text, at) if word == "DATA" else None
    return items[0] if items else ""


@cache
def _tokens(dialect: Dialect) -> dict[str, bytes]:
    tokens = {word: bytes([token]) for token, word in dialect.tokens.items()}
    return {"?": tokens["PRINT"], **tokens}


@cache
def _scanner(dialect: Dialect) -> re.Pattern[str]:
    """Matches a string, else the first keyword in table order, else one character."""
    words = "|".join(re.escape(word) for _, word in sorted(dialect.tokens.items()))
    return re.compile(rf'"[^"]*"?|{words}|.', re.IGNORECASE)
