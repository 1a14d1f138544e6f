"""Listings of BASIC made by a grammar, for programs that club members of the time may have typed.

Seeded, so that a program has a number by which it can be made again. Each dialect's programs use
only keywords that it has; every GOTO leads to a line of the program.
"""

import random
from dataclasses import dataclass

from server.tape.basic.dialect import Dialect
from server.tape.basic.program import BasicProgram

WORDS = "LIGHT SHIP TIDE BUOY LANTERN KEEPER FOG HARBOUR ROCK SIGNAL".split()
NUMERIC = "SGN INT ABS SQR RND SIN COS TAN ATN EXP LOG PEEK POS FRE USR INP".split()
STRINGS = "CHR$ STR$ LEFT$ RIGHT$ MID$".split()
OPERATORS = "+-*/^"


@dataclass
class Grammar:
    """Draws statements of `dialect` from `chance`; `numbers` are the lines of the program."""

    dialect: Dialect
    chance: random.Random
    numbers: list[int]

    def __post_init__(self) -> None:
        self.words = set(self.dialect.tokens.values())

    def pick(self, choices):
        return self.chance.choice([each for each in choices if each])

    def has(self, word, made):
        return made if word in self.words else None

    def variable(self):
        return self.pick("ABCDHJKMNPQVWXYZ") + self.pick(["0", "1", "7", " "]).strip()

    def string(self):
        return self.variable() + "$"

    def target(self):
        return str(self.chance.choice(self.numbers))

    def literal(self):
        return f'"{" ".join(self.chance.sample(WORDS, self.chance.randint(1, 3)))}"'

    def value(self, depth=0):
        number = str(self.chance.choice([0, 1, 2, 10, 64, 3.5, 1000, 32767]))
        if depth > 1:
            return self.pick([number, self.variable()])
        function = self.pick([each for each in NUMERIC if each in self.words])
        sign = self.chance.choice(OPERATORS)
        return self.pick(
            [
                number,
                self.variable(),
                f"{self.variable()}({self.value(depth + 1)})",
                f"{function}({self.value(depth + 1)})",
                self.has(sign, f"{self.value(depth + 1)}{sign}{self.value(depth + 1)}"),
                f"({self.value(depth + 1)})",
                f"-{self.value(depth + 1)}",
                self.has("FN", f"FN{self.variable()}({self.value(depth + 1)})"),
            ]
        )

    def text(self):
        made = [self.literal(), self.string()]
        if "CHR$" in self.words:
            made += [
                f"CHR$({self.value(2)})",
                f"LEFT$({self.string()},{self.value(2)})",
                f"{self.string()}+{self.literal()}",
            ]
        return self.pick(made)

    def condition(self):
        made = f"{self.value(1)}{self.pick(['=', '<', '>', '<=', '<>', '>='])}{self.value(1)}"
        return self.pick(
            [
                made,
                self.has("AND", f"{made} AND {self.variable()}>0"),
                self.has("NOT", f"NOT {self.variable()}"),
                f"{self.string()}={self.literal()}",
            ]
        )

    def printed(self):
        parts = [
            self.pick([self.literal(), self.value(1), self.text(), f"TAB({self.value(2)})"])
            for _ in range(self.chance.randint(0, 3))
        ]
        return "PRINT" + self.pick(["", " ", "  "]).join(["", self.pick(";,").join(parts)])

    def statement(self):
        loop = self.variable()
        return self.pick(
            [
                self.printed(),
                self.printed(),
                f"{self.pick(['LET ', ' ']).strip()}{self.variable()}={self.value()}",
                f"{self.string()}={self.text()}",
                f"{self.variable()}({self.value(2)})={self.value()}",
                f"FOR {loop}={self.value(1)} TO {self.value(1)}",
                f"FOR{loop}={self.value(2)}TO{self.value(2)}STEP{self.value(2)}",
                "NEXT" + self.pick(["  ", f" {loop}"]).rstrip(),
                f"IF {self.condition()} THEN {self.target()}",
                f"IF{self.condition()}THEN{self.printed()}",
                f"IF {self.condition()} THEN GOTO {self.target()}",
                f"GOTO {self.target()}",
                f"GOSUB{self.target()}",
                f"INPUT {self.literal()};{self.variable()},{self.string()}",
                f"READ {self.variable()},{self.string()}",
                f"DIM {self.variable()}({self.value(2)})",
                f"DATA {','.join(self.chance.sample(WORDS, 3))},{self.value(2)}",
                self.pick(["END", "STOP", "RETURN", "RESTORE"]),
                self.has("ON", f"ON {self.value(2)} GOTO {self.target()},{self.target()}"),
                self.has("ON", f"ON {self.variable()} GOSUB {self.target()}"),
                self.has("POKE", f"POKE {self.value(2)},{self.value(2)}"),
                self.has("OUT", f"OUT {self.value(2)},{self.value(2)}"),
                self.has("DEF", f"DEF FN{loop}(X)={self.value(1)}"),
            ]
        )

    def line(self):
        if self.chance.random() < 0.1:
            return f"REM {' '.join(self.chance.sample(WORDS, 2))}: GOTO NOWHERE"
        return ":".join(self.statement() for _ in range(self.pick([1, 1, 1, 2, 3])))[:250]


def program(dialect: Dialect, seed: int, lines: int = 40) -> BasicProgram:
    """The program of that number in `dialect`."""
    chance = random.Random(seed)
    numbers = sorted(chance.sample(range(1, 9999), lines))
    grammar = Grammar(dialect, chance, numbers)
    return BasicProgram(
        name=chance.choice("ABXYZ1"),
        lines=tuple((number, grammar.line()) for number in numbers),
        start_address=chance.choice([0x0301, 0x0601, 0x1A01, 0x2001, 0x4001]),
        dialect=dialect.name,
        leader=chance.randint(0, 80),
        trailer=chance.randint(0, 80),
    )
