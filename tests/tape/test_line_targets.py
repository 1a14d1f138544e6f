from random import Random

import pytest

from server.tape.line_targets import bodies_of, digest, programs, targets_of, with_targets
from tests.bench.programs import program, renumbered_throughout
from tests.tape.test_fingerprints import basic


@pytest.mark.parametrize(
    ("body", "marked", "targets"),
    [
        ("GOTO100", "GOTO#", [100]),
        ("IFA=1THEN100:PRINT7", "IFA=1THEN#:PRINT7", [100]),
        ("ONXGOSUB10,200,30", "ONXGOSUB#,#,#", [10, 200, 30]),
        ("IFATHENGOTO5ELSE60", "IFATHENGOTO#ELSE#", [5, 60]),
        ("RUN9:RESTORE20", "RUN#:RESTORE#", [9, 20]),
        ('PRINT"GOTO100":GOTO5', 'PRINT"GOTO100":GOTO#', [5]),
        ('PRINT"GOTO100', 'PRINT"GOTO100', []),
        ("REMGOTO100", "REMGOTO100", []),
        ("IFATHENREM GOTO 5", "IFATHENREM GOTO 5", []),
        ("FOREM=1TO3:GOTO7", "FOREM=1TO3:GOTO#", [7]),
        ('DATAGOTO7,"a:GOTO8":GOTO9', 'DATAGOTO7,"a:GOTO8":GOTO#', [9]),
        ("A=THENX1", "A=THENX1", []),
        ("PRINTA,10", "PRINTA,10", []),
    ],
)
def test_numbers_that_are_jumped_to_are_told_and_marked(
    body: str, marked: str, targets: list[int]
) -> None:
    told: list[int] = []
    with_targets(body, told.append)
    assert told == targets
    assert with_targets(body, lambda number: number) == body
    assert bodies_of([f"10 {body}"], [10]) == [marked]
    assert targets_of(f"10 {body}", 10) == tuple(targets)


def test_a_line_without_a_number_of_its_own_stays_as_it_is() -> None:
    lines, keys = ["10 GOTO20", "GOTO20"], [10, None]
    assert bodies_of(lines, keys) == ["GOTO#", "GOTO20"]
    assert list(map(targets_of, lines, keys)) == [(20,), ()]


def test_the_digest_tells_where_jumps_lead_and_not_what_the_lines_are_called() -> None:
    base = program(Random(1), 30)
    forms = [basic(lines) for lines in (base, renumbered_throughout(Random(2), base))]
    assert forms[0].lines != forms[1].lines
    assert len({digest(form.lines, form.keys, form.bodies) for form in forms}) == 1
    led = ["10 GOTO20", "20 END", "30 END"]
    elsewhere = ["10 GOTO30", "20 END", "30 END"]
    nowhere = ["10 GOTO99", "20 END", "30 END"]
    keys, bodies = [10, 20, 30], ["GOTO#", "END", "END"]
    assert len({digest(lines, keys, bodies) for lines in (led, elsewhere, nowhere)}) == 3


@pytest.mark.parametrize(
    ("keys", "spans"),
    [
        ([], [(0, 0)]),
        ([10, 20, 30, 40, 50, 60], [(0, 6)]),
        ([100, 200, 300, 10, 20, 30], [(0, 3), (3, 6)]),
        ([100, 200, None, 300, 10, None, 20, 30], [(0, 4), (4, 8)]),
        ([10, 20, 930, 40, 50, 60], [(0, 6)]),
        ([100, 200, 10, 20, 30], [(0, 5)]),
        ([*range(100, 104), *range(50, 54), *range(1, 5)], [(0, 4), (4, 8), (8, 12)]),
        ([key for reel in range(17) for key in (90 - reel, 91, 92)], [(0, 51)]),
    ],
)
def test_a_program_begins_where_numbers_begin_again_from_below(
    keys: list[int | None], spans: list[tuple[int, int]]
) -> None:
    assert programs(keys) == spans
