"""What a dialect of crunched BASIC is: a table that gives each token its keyword."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

_ENTRY = re.compile(r"([0-9A-F]{2}) +(\S+)")

_NEEDED = ("REM", "DATA", "PRINT")
"""Keywords that the rules of crunching themselves speak of."""

PRINTING: Final = bytes(range(0x20, 0x7F))
"""The frames that stand for themselves in a crunched line (ISO 646)."""


@dataclass(frozen=True, slots=True, eq=False)
class Dialect:
    """One dialect: its tokens (bytes 80 to FF) with their keywords, and where we have them from.

    The interpreter looks for keywords in the order of their tokens, so that order is part of
    the dialect. `confidence` says in words how sure each part of the table is.

    Raises:
        ValueError: a token is below 80, a keyword stands twice, or REM, DATA or PRINT is missing.
    """

    name: str
    title: str
    source: str
    tokens: Mapping[int, str]
    confidence: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        words = list(self.tokens.values())
        if any(token not in range(0x80, 0x100) for token in self.tokens):
            raise ValueError(f"dialect {self.name}: a token is a byte from 80 to FF")
        if len(set(words)) < len(words):
            raise ValueError(f"dialect {self.name}: a keyword has two tokens")
        if missing := [word for word in _NEEDED if word not in words]:
            raise ValueError(f"dialect {self.name}: no token for {', '.join(missing)}")

    def token(self, keyword: str) -> int:
        """The token of `keyword`.

        Raises:
            KeyError: the dialect lacks the keyword.
        """
        for token, word in self.tokens.items():
            if word == keyword:
                return token
        raise KeyError(keyword)


def read_table(table: str) -> Mapping[int, str]:
    """The tokens of a table written as `80 END  81 FOR ...`, in rising order.

    Raises:
        ValueError: the table holds something else, or a token twice.
    """
    entries = _ENTRY.findall(table)
    tokens = {int(token, 16): word for token, word in sorted(entries)}
    if len(tokens) < len(entries) or _ENTRY.sub("", table).strip():
        raise ValueError("a token table is pairs of two hexadecimal digits and a keyword")
    return MappingProxyType(tokens)
