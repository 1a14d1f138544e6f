"""Cross-references of BASIC listings.

That keywords are found even in the midst of a name is a rule of the 8K class, from memory; the
statements are those of ECMA-55 and common practice.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.basic import DIALECTS
from server.tape.basic.references import (
    MOST_LINES,
    ReferenceKind,
    cross_references,
    missing_lines,
)
from server.tape.findings import Severity
from server.tape.listing import Line

LINE, VARIABLE = ReferenceKind.LINE, ReferenceKind.VARIABLE
ARRAY, FUNCTION = ReferenceKind.ARRAY, ReferenceKind.FUNCTION
CRUNCHED = DIALECTS["8k-8080"]


def listing(*texts):
    frame = 100
    lines = []
    for text in texts:
        number = text.split()[0]
        lines.append(Line(text, frame, len(text), int(number) if number.isdigit() else None))
        frame += len(text)
    return lines


def goes_to(text, dialect=CRUNCHED):
    found = cross_references(listing(text), dialect).references
    return [each.number for each in found if each.kind is LINE]


def names(text, dialect=CRUNCHED):
    found = cross_references(listing(text), dialect).references
    return [(each.kind, each.name, each.assigned) for each in found if each.kind is not LINE]


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("10 GOTO 200", [200]),
        ("10 GOTO00200", [200]),
        ("10 GOSUB500:GOTO 20", [500, 20]),
        ("10 IFA=1THEN30", [30]),
        ("10 IF A GOTO 30", [30]),
        ("10 ON X GOTO 100,200 , 300:PRINT 5", [100, 200, 300]),
        ("10 ONXGOSUB1,2", [1, 2]),
        ("10 RUN 50:RUN", [50]),
        ("10 RESTORE:RESTORE 70", [70]),
        ('10 PRINT"GOTO 20":REM GOTO 30', []),
        ("10 DATA GOTO 40: GOTO 50", [50]),
        ("10 IF A THEN PRINT 5", []),
        ("10 GOTO A*10", []),
        ("10 A=GO+TO5", []),
        ("10 goto 20", [20]),
        ("10 GOTO 000000020", [20]),
        ("10 GOTO " + "9" * 5000 + ",30", [30]),
    ],
)
def test_lines_that_are_gone_to_are_found(text, numbers):
    assert goes_to(text) == numbers


@pytest.mark.parametrize(
    ("text", "numbers"),
    [("10 GO TO 20", [20]), ("10 GO  SUB 30", [30]), ("10 IF A THEN 20 ELSE 30", [20, 30])],
)
def test_a_listing_that_was_not_crunched_may_write_them_in_two_words(text, numbers):
    assert goes_to(text, None) == numbers
    assert goes_to(text) == numbers[:-1]


@pytest.mark.parametrize(
    ("text", "used"),
    [
        ("10 LET A=B", [(VARIABLE, "A", True), (VARIABLE, "B", False)]),
        ("10 A$=B$+C1", [(VARIABLE, "A$", True), (VARIABLE, "B$", False), (VARIABLE, "C1", False)]),
        (
            "10 A(I)=A(J)",
            [
                (ARRAY, "A", True),
                (VARIABLE, "I", False),
                (ARRAY, "A", False),
                (VARIABLE, "J", False),
            ],
        ),
        (
            "10 FORI=JTO9:NEXTI",
            [(VARIABLE, "I", True), (VARIABLE, "J", False), (VARIABLE, "I", True)],
        ),
        ('10 INPUT"N";N,M(I)', [(VARIABLE, "N", True), (ARRAY, "M", True), (VARIABLE, "I", False)]),
        ("10 READ A(I+1),B", [(ARRAY, "A", True), (VARIABLE, "I", False), (VARIABLE, "B", True)]),
        ("10 DIM P(N)", [(ARRAY, "P", True), (VARIABLE, "N", False)]),
        (
            "10 DEF FN R(X)=X*FNS(K)",
            [
                (FUNCTION, "FNR", True),
                (VARIABLE, "X", True),
                (VARIABLE, "X", False),
                (FUNCTION, "FNS", False),
                (VARIABLE, "K", False),
            ],
        ),
        ("10 PRINT TAB(X);Y", [(VARIABLE, "X", False), (VARIABLE, "Y", False)]),
        (
            "10 IFA=BTHENC=1",
            [(VARIABLE, "A", False), (VARIABLE, "B", False), (VARIABLE, "C", True)],
        ),
        ("10 SCORE=1", [(VARIABLE, "SC", True), (VARIABLE, "E", False)]),
        ("10 A=1E5+E5", [(VARIABLE, "A", True), (VARIABLE, "E5", False)]),
        ("10 A5=1.5E-3", [(VARIABLE, "A5", True)]),
        ("10E5=3", [(VARIABLE, "E5", True)]),
        ('10 PRINT"A":REM B', []),
        ("10 DATA A,B:C=1", [(VARIABLE, "C", True)]),
        ("10 POKE FN", []),
    ],
)
def test_names_are_found_with_what_is_done_to_them(text, used):
    assert names(text) == used


def test_a_reference_knows_its_place_in_its_line():
    lines = listing("10 A=1", "20 IF A THEN 10")
    found = cross_references(lines, CRUNCHED)
    assert [lines[each.line].text[each.start : each.stop] for each in found.references] == [
        "A",
        "A",
        "10",
    ]
    assert [(each.line, each.start) for each in found.references] == [(0, 3), (1, 6), (1, 13)]


def test_references_are_sorted_by_line_and_by_name():
    found = cross_references(listing("10 B=A:GOTO 20", "20 A=B(1):GOTO 10"), CRUNCHED)
    assert list(found.names()) == [(VARIABLE, "A"), (ARRAY, "B"), (VARIABLE, "B")]
    assert [[each.line for each in uses] for uses in found.names().values()] == [[0, 1], [1], [0]]
    by_line = found.by_line()
    assert {index: [found.target(each) for each in uses] for index, uses in by_line.items()} == {
        0: [1],
        1: [0],
    }
    assert found.target(found.names()[VARIABLE, "A"][0]) is None


def test_a_line_goes_to_a_line_of_its_own_program():
    heading = Line("-- part 2 --", 150, 0)
    lines = [*listing("10 GOTO 10"), heading, *listing("10 GOTO 10", "20 GOTO 30")]
    found = cross_references(lines, CRUNCHED)
    assert [found.target(each) for each in found.references] == [0, 2, None]


def test_the_first_of_two_lines_of_one_number_is_gone_to():
    found = cross_references(listing("10 GOTO 20", "20 END", "20 END"), CRUNCHED)
    assert [found.target(each) for each in found.references] == [1]


def test_a_line_that_goes_nowhere_is_a_warning_at_its_frames():
    lines = listing("10 ON A GOTO 20,30,30,40", "20 END")
    (finding,) = missing_lines(lines, CRUNCHED)
    assert (finding.kind, finding.severity) == ("missing-line", Severity.WARNING)
    assert (finding.frame, finding.frames) == (100, len(lines[0].text))
    assert "to lines 30, 40, which" in finding.message
    assert "to line 99, which" in missing_lines(listing("10 GOTO 99"))[0].message


def test_a_program_whose_lines_are_all_there_has_no_such_finding():
    assert missing_lines(listing("10 GOTO 20", "20 GOSUB 10")) == []


def test_lines_beyond_those_that_a_program_can_have_are_not_looked_at():
    lines = [Line("GOTO 9", 0, 1)] * (MOST_LINES + 5)
    assert len(missing_lines(lines)) == MOST_LINES


def test_every_reference_of_eight_thousand_lines_is_found():
    text = 'IF A(I)=B+FNQ(X) THEN 70:PRINT"GOTO";C$:GOSUB 300:ON X GOTO 10,20,30'
    lines = listing(*(f"{number} {text}" for number in range(8000)))
    found = cross_references(lines)
    assert len(found.references) == 8000 * 12


@given(texts=st.lists(st.text(max_size=60), max_size=4))
def test_any_text_has_references_that_lie_in_it(texts):
    lines = [Line(text.replace("\n", " "), 0, 1) for text in texts]
    for each in cross_references(lines).references:
        shown = lines[each.line].text[each.start : each.stop].upper()
        assert 0 <= each.start < each.stop <= len(lines[each.line].text)
        assert shown.replace(" ", "").lstrip("0") == each.name.lstrip("0")
