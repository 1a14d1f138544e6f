"""Listings as a club would have them, and the needles that people would type to find them.

Invented, and the same from run to run. Words are drawn from some thousands with the frequencies
of Zipf's law, as in real text, so that some are in every listing and most in few; statements,
line numbers and figures repeat all over the library.
"""

from collections.abc import Iterator
from itertools import accumulate
from random import Random
from typing import NamedTuple

_SYLLABLES = "BA DE FI GO LU MA NE PO RI SA TE VO ZE KI DA LO NU RA SE TI".split()
_WORDS = 8_000
_FLATTEN = 2.7
"""Zipf's law with the offset that Mandelbrot gave it: rank r has a share of 1 / (r + 2.7)."""


class Club:
    """What one club writes, from one seed."""

    def __init__(self, seed: int) -> None:
        self.random = Random(seed)
        self._words = [
            "".join(self.random.choices(_SYLLABLES, k=self.random.choice((1, 2, 2, 3, 3, 4))))
            for _ in range(_WORDS)
        ]
        self._shares = list(accumulate(1 / (rank + _FLATTEN) for rank in range(_WORDS)))

    def words(self, least: int, most: int) -> str:
        """Some words."""
        count = self.random.randint(least, most)
        return " ".join(self.random.choices(self._words, cum_weights=self._shares, k=count))

    def _name(self) -> str:
        return self.random.choice("ABCDEFGHIJKLMNOPQRSTUVWXYZ") + self.random.choice(
            ("", "", "1", "2", "$")
        )

    def _statement(self) -> str:
        chance, name = self.random, self._name
        target = chance.randrange(10, 4200, 10)
        return chance.choice(
            (
                lambda: f'PRINT "{self.words(1, 5)}"',
                lambda: f'PRINT "{self.words(1, 2)}";{name()}',
                lambda: f"LET {name()}={name()}*{chance.randrange(100)}+{chance.randrange(9)}",
                lambda: f"IF {name()}>{chance.randrange(1000)} THEN {target}",
                lambda: f"REM {self.words(2, 5)}",
                lambda: f"GOSUB {target}",
                lambda: f"FOR {name()}=1 TO {chance.randrange(200)}",
                lambda: f"NEXT {name()}",
                lambda: "DATA " + ",".join(str(chance.randrange(100)) for _ in range(6)),
                lambda: f"GOTO {target}",
                lambda: f'INPUT "{self.words(1, 3)}";{name()}',
            )
        )()

    def listing(self) -> str:
        """A program of 60 to 420 lines, about 5 kB."""
        numbers = range(10, 10 * self.random.randint(60, 420), 10)
        return "".join(f"{number} {self._statement()}\n" for number in numbers)


class Needle(NamedTuple):
    """What somebody types, and what kind of thing it is."""

    kind: str
    text: str


MIX = {
    "a word": 30,
    "two or three words in a row": 20,
    "the start of a word": 10,
    "a piece of a line": 15,
    "a statement as it stands": 10,
    "an accession number": 5,
    "a title": 5,
    "nothing that is there": 5,
}
"""How many of a hundred needles are of each kind."""


def needles(random: Random, listings: list[str], titles: list[str]) -> Iterator[Needle]:
    """Needles without end, each kind as often as in `MIX`; drawn from what the library holds."""
    kinds = [kind for kind, share in MIX.items() for _ in range(share)]
    while True:
        kind = random.choice(kinds)
        if kind == "an accession number":
            number = random.randrange(len(titles))
            text = random.choice(
                (f"{1970 + number % 50}.{number}", f"{1970 + number % 50} {number}")
            )
        elif kind == "a title":
            text = random.choice(titles)
        elif kind == "nothing that is there":
            text = "".join(random.choices("BCDFGKLMNPQRSTVWXYZ", k=random.randint(4, 9)))
        else:
            text = _of_line(random, kind, random.choice(random.choice(listings).splitlines()))
        if len(text.strip()) >= 3:
            yield Needle(kind, text)


def _of_line(random: Random, kind: str, line: str) -> str:
    statement = line.partition(" ")[2]
    words = statement.replace('"', " ").replace(";", " ").split()
    if kind == "a statement as it stands":
        return statement
    if kind == "a piece of a line":
        start = random.randrange(max(1, len(statement) - 3))
        return statement[start : start + random.randint(3, 9)]
    if kind == "two or three words in a row":
        start = random.randrange(max(1, len(words) - 1))
        run = " ".join(statement.split()[start : start + random.randint(2, 3)])
        return run.strip('";')
    word = random.choice(words)
    return word[: max(3, len(word) - 2)] if kind == "the start of a word" else word
