"""Which table a tape was crunched with shows in the statements that its tokens make."""

import pytest

from server.tape.basic import DIALECTS
from server.tape.basic.crunch import crunch
from server.tape.basic.dialect import Dialect
from server.tape.basic.plausibility import choose_dialect, plausibility
from tests.tape.basic_tapes import PROGRAM

OURS = DIALECTS["8k-8080"]


def shifted(by):
    """An invented dialect: OURS with `by` more keywords before OUT."""
    words = list(OURS.tokens.values())
    words[0x10:0x10] = [f"EXTRA{count}" for count in range(by)]
    return Dialect("shifted", "Shifted", "invented", dict(enumerate(words, 0x80)))


TYPED = (
    'PRINT"SHELF";N:PRINT TAB(3);X',
    "FOR I=1 TO 10 STEP INT(N/2):A(I)=RND(1)*9:NEXT I",
    'IF A$="YES" THEN 300',
    "IF A>B OR NOT C THEN PRINT A:GOTO 20",
    "ON X GOSUB 100,200,300",
    'INPUT"HOW MANY";N',
    "READ A,B$:RESTORE:END",
    "DEF FNA(X)=X*X:POKE 100,PEEK(99)",
    'LET A$=LEFT$(B$,3)+CHR$(34)+"X"',
    "DATA 1,2,THREE:REM NO END",
)


@pytest.mark.parametrize("typed", TYPED)
def test_ordinary_statements_are_wholly_plausible(typed):
    assert plausibility([crunch(typed, OURS)], OURS) == 1.0


@pytest.mark.parametrize("by", [1, 2, 5])
def test_the_table_that_a_program_was_crunched_with_is_chosen(by):
    other = shifted(by)
    for dialect in (OURS, other):
        texts = [crunch(typed, dialect) for typed in TYPED]
        assert choose_dialect(texts, [other, OURS]) is dialect
        assert choose_dialect(texts, [OURS, other]) is dialect


def test_tokens_in_the_wrong_places_are_not_plausible():
    assert plausibility([b"\x97\x22HI\x22", b"\xb6A", b"A\x96", b"\xff"], OURS) == 0.0


def test_no_statement_is_no_evidence():
    assert plausibility([], OURS) == plausibility([b"", b" : "], OURS) == 0.0


def test_only_the_first_lines_are_looked_at():
    texts = [text for _, text in PROGRAM] * 40
    assert plausibility([*texts[:200], *[b"\xff"] * 1000], OURS) == 1.0
