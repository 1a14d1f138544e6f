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
        assert choose_dialect(texts, [other, OURS]).dialect is dialect
        assert choose_dialect(texts, [OURS, other]).dialect is dialect


@pytest.mark.parametrize("name", DIALECTS)
def test_no_table_is_a_rival_of_the_right_one(name):
    texts = [crunch(typed, DIALECTS[name]) for typed in TYPED]

    choice = choose_dialect(texts, DIALECTS.values())

    assert (choice.dialect.name, choice.rivals) == (name, ())


def test_tables_that_differ_in_no_token_of_the_program_are_alike_rivals():
    choice = choose_dialect([b"\x88100", b"\x80"], DIALECTS.values())

    assert choice.dialect is OURS
    assert [rival.name for rival in choice.rivals] == ["4k-8080", "8k-6502"]
    assert choice.alike


def test_a_table_that_explains_nearly_all_is_a_rival_in_whose_words_the_program_reads_otherwise():
    words = {**OURS.tokens, 0x97: "LIST", 0x98: "CONT"}
    swapped = Dialect("swapped", "Swapped", "invented", words)

    choice = choose_dialect([b"\x98", b'\x96"A"', *[b"\x88100"] * 30], [OURS, swapped])

    assert (choice.dialect, choice.rivals, choice.alike) == (OURS, (swapped,), False)


def test_a_keyword_that_is_known_to_no_rule_may_be_a_statement_or_a_value():
    club = Dialect("club", "Club", "invented", {**OURS.tokens, 0xC6: "BELL", 0xC7: "CLOCK"})

    texts = [crunch(typed, club) for typed in ("BELL 3,X", "A=CLOCK(1)+2:PRINT CLOCK", *TYPED)]

    assert plausibility(texts, club) == 1.0
    assert choose_dialect(texts, [OURS, club]).dialect is club


def test_tokens_in_the_wrong_places_are_not_plausible():
    assert plausibility([b"\x97\x22HI\x22", b"\xb6A", b"A\x96", b"\xff"], OURS) == 0.0


def test_no_statement_is_no_evidence():
    assert plausibility([], OURS) == plausibility([b"", b" : "], OURS) == 0.0


def test_only_the_first_lines_are_looked_at():
    texts = [text for _, text in PROGRAM] * 40
    assert plausibility([*texts[:200], *[b"\xff"] * 1000], OURS) == 1.0
