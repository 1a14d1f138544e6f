"""Invented BASIC programs, and what happens to a program from one tape to the next.

Programs share a vocabulary, whole subroutines and their line numbers, as those of one club do:
an easy corpus would flatter whatever looks for kin.
"""

import re
from random import Random

_SYLLABLES = "BA DE FI GO LU MA NE PO RI SA TE VO ZE KI DA LO NU RA SE TI".split()
_NAMES = tuple("ABCDEFGHIJKLMNPQRSTUVWXYZ") + tuple(
    f"{letter}{digit}" for letter in "ACKNPTX" for digit in "0123"
)
_FUNCTIONS = ("INT", "ABS", "SQR", "RND", "SGN", "SIN", "COS")


def _words(random: Random, least: int, most: int) -> str:
    return " ".join(
        "".join(random.choices(_SYLLABLES, k=random.randint(1, 3)))
        for _ in range(random.randint(least, most))
    )


def _term(random: Random) -> str:
    name, other = random.choice(_NAMES), random.choice(_NAMES)
    number = random.choice((0, 1, 1, 2, 10, random.randint(3, 999)))
    return random.choice(
        (
            name,
            str(number),
            f"{name}+{number}",
            f"{name}{random.choice('+-*/')}{other}",
            f"{random.choice(_FUNCTIONS)}({name})",
            f"INT({number}*RND(1))+1",
        )
    )


def _statement(random: Random, last: int) -> str:
    name = random.choice(_NAMES)
    target = random.randrange(10, last + 10, 10)
    return random.choice(
        (
            f'PRINT"{_words(random, 1, 5)}"',
            f'PRINT"{_words(random, 1, 2)}";{name}',
            "PRINT",
            f"{name}={_term(random)}",
            f"{name}={_term(random)}",
            f"IF {name}{random.choice('=<>')}{_term(random)} THEN {target}",
            f"FOR {name}=1 TO {_term(random)}",
            f"NEXT {name}",
            f"GOTO {target}",
            f"GOSUB {target}",
            "RETURN",
            f'INPUT"{_words(random, 1, 3)}";{name}',
            f"DATA {','.join(str(random.randint(0, 99)) for _ in range(random.randint(2, 9)))}",
            f"READ {name}",
            f"DIM {name}({random.randint(5, 50)})",
            f"REM {_words(random, 1, 5)}",
        )
    )


_SHARED = Random(1)
_SUBROUTINES = tuple(
    tuple(_statement(_SHARED, 400) for _ in range(_SHARED.randint(4, 12))) for _ in range(40)
)
"""What members copy from each other's programs."""


def program(random: Random, lines: int) -> list[str]:
    """A program of about so many lines; every third carries a subroutine that others carry too."""
    body = [_statement(random, lines * 10) for _ in range(lines)]
    if lines > 20 and random.random() < 0.33:
        at = random.randrange(lines)
        body[at:at] = random.choice(_SUBROUTINES)
    return [f"{10 * number} {text}" for number, text in enumerate((*body, "END"), 1)]


def size(random: Random) -> int:
    """How many lines a program has: mostly some dozens, now and then six or a thousand."""
    return min(1000, max(6, int(random.lognormvariate(4.0, 0.9))))


def _cut(line: str) -> tuple[int, str]:
    """The number of a line, 0 where it was misread, and the rest."""
    match = re.match(r"(\d*) ?(.*)", line)
    assert match is not None
    return int(match[1] or 0), match[2]


def line_added(random: Random, lines: list[str]) -> list[str]:
    """The program, saved again after one line was put in."""
    at = random.randrange(len(lines))
    number = _cut(lines[at])[0] - 5
    return [*lines[:at], f'{number} INPUT"NUMBER";N:X=RND(-N)', *lines[at:]]


def misread(random: Random, lines: list[str], every: int = 60) -> list[str]:
    """The program with about one wrong character in every so many."""
    text = list("\n".join(lines))
    for at, character in enumerate(text):
        if character != "\n" and random.random() < 1 / every:
            text[at] = chr(ord(character) ^ 1 << random.randrange(3)) if character > " " else "!"
    return "".join(text).split("\n")


def renumbered(random: Random, lines: list[str]) -> list[str]:
    """The program with other line numbers (and the jumps as they were)."""
    first, step = random.choice((100, 1000)), random.choice((5, 10, 20))
    bodies = (_cut(line)[1] for line in lines)
    return [f"{first + step * number} {body}" for number, body in enumerate(bodies)]


def renumbered_throughout(random: Random, lines: list[str]) -> list[str]:
    """The program with other line numbers, and each jump to where it went before."""
    first, step = random.choice((100, 1000)), random.choice((5, 10, 20))
    numbers = {_cut(line)[0]: first + step * at for at, line in enumerate(lines)}
    return [
        re.sub(
            r"(?<=GOTO |THEN )\d+|(?<=GOSUB )\d+",
            lambda jump: str(numbers.get(int(jump[0]), jump[0])),
            f"{numbers[_cut(line)[0]]} {_cut(line)[1]}",
        )
        for line in lines
    ]


def reworked(random: Random, lines: list[str]) -> list[str]:
    """The program after an evening's work: one line in eight changed, dropped or added."""
    result = []
    for line in lines:
        fate = random.random()
        number = _cut(line)[0]
        if fate >= 0.04:
            result.append(
                line if fate >= 0.08 else f"{number} {_statement(random, 10 * len(lines))}"
            )
        if fate > 0.96:
            result.append(f"{number + 5} {_statement(random, 10 * len(lines))}")
    return result


def badly_misread(random: Random, lines: list[str]) -> list[str]:
    """The program with about one wrong character in 20."""
    return misread(random, lines, 20)


def much_reworked(random: Random, lines: list[str]) -> list[str]:
    """The program after three evenings' work."""
    return reworked(random, reworked(random, reworked(random, lines)))


CHANGES = (line_added, misread, renumbered, reworked, badly_misread, much_reworked)
