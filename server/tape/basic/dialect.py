"""What a dialect of crunched BASIC is: a table that gives each token its keyword."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final, Self

_ENTRY = re.compile(r"([0-9A-F]{2}) +(\S+)")

_WORD = re.compile(r"[!#-/;-@A-Z\[-`|~][!#-9;-`|~]*")
"""A keyword as the rules of crunching can find it: no quote, colon, brace or small letter."""

_NAME = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")

_TEXTS: Final = ("name", "title", "source", "tokens")

_NEEDED = ("REM", "DATA", "PRINT")
"""Keywords that the rules of crunching themselves speak of."""

PRINTING: Final = bytes(range(0x20, 0x7F))
"""The frames that stand for themselves in a crunched line (ISO 646)."""


@dataclass(frozen=True, slots=True, eq=False)
class Dialect:
    """One dialect: its tokens (bytes 80 to FF) with their keywords, and where we have them from.

    The interpreter looks for keywords in the order of their tokens, so that order is part of
    the dialect. `confidence` says in words how sure each part of the table is. Where
    `may_be_bare`, a program may begin with its first line, without a lead and a name.

    Raises:
        ValueError: a token is below 80, a keyword is none or stands twice, or REM, DATA or PRINT
            is missing.
    """

    name: str
    title: str
    source: str
    tokens: Mapping[int, str]
    confidence: tuple[str, ...] = ()
    may_be_bare: bool = False

    def __post_init__(self) -> None:
        words = list(self.tokens.values())
        if any(token not in range(0x80, 0x100) for token in self.tokens):
            raise ValueError(f"dialect {self.name}: a token is a byte from 80 to FF")
        if odd := [word for word in words if not _WORD.fullmatch(word)]:
            raise ValueError(f"dialect {self.name}: {odd[0]!r} cannot be a keyword")
        if len(set(words)) < len(words):
            raise ValueError(f"dialect {self.name}: a keyword has two tokens")
        if missing := [word for word in _NEEDED if word not in words]:
            raise ValueError(f"dialect {self.name}: no token for {', '.join(missing)}")

    @classmethod
    def from_table(cls, table: Mapping[str, Any]) -> Self:
        """The dialect that a table of named fields describes, such as a club keeps in a file.

        Needed are the texts `name` (small letters, digits, hyphens), `title`, `source` (where
        the table is from) and `tokens` (as `read_table` takes them); `confidence` is a list of
        texts, `may_be_bare` true or false.

        Raises:
            ValueError: a field is missing, unknown or of the wrong kind, or the tokens make no
                dialect.
        """
        if fault := _fault(table):
            raise ValueError(fault)
        return cls(
            name=table["name"],
            title=table["title"],
            source=table["source"],
            tokens=read_table(table["tokens"]),
            confidence=tuple(table.get("confidence", ())),
            may_be_bare=table.get("may_be_bare", False),
        )

    def token(self, keyword: str) -> int:
        """The token of `keyword`.

        Raises:
            KeyError: the dialect lacks the keyword.
        """
        for token, word in self.tokens.items():
            if word == keyword:
                return token
        raise KeyError(keyword)


def _fault(table: Mapping[str, Any]) -> str | None:
    """What is wrong with the fields of a table, their contents left aside."""
    if unknown := sorted(set(table) - {*_TEXTS, "confidence", "may_be_bare"}):
        return f"no field is called {unknown[0]}"
    for field in _TEXTS:
        text = table.get(field)
        if not isinstance(text, str) or not text.strip():
            return f"the field {field} must be a text"
    if not _NAME.fullmatch(table["name"]):
        return "the name must be small letters, digits and hyphens"
    confidence = table.get("confidence", [])
    if not isinstance(confidence, list) or not all(isinstance(each, str) for each in confidence):
        return "the field confidence must be a list of texts"
    if not isinstance(table.get("may_be_bare", False), bool):
        return "the field may_be_bare must be true or false"
    return None


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
