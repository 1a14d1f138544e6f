"""A dialect is data: a table that is checked when it is made."""

import pytest

from server.tape.basic import DIALECTS
from server.tape.basic.dialect import Dialect, read_table


def made(**tokens):
    table = {0x80: "REM", 0x81: "DATA", 0x82: "PRINT"}
    return Dialect(
        "test", "Test", "invented", table | {int(k[1:], 16): w for k, w in tokens.items()}
    )


def test_each_dialect_says_where_it_comes_from_and_how_sure_it_is():
    for name, dialect in DIALECTS.items():
        assert dialect.name == name
        assert dialect.title
        assert dialect.source
        assert dialect.confidence


def test_a_dialect_gives_the_token_of_a_keyword():
    assert DIALECTS["8k-8080"].token("PRINT") == 0x96
    with pytest.raises(KeyError):
        DIALECTS["8k-8080"].token("RENUMBER")


@pytest.mark.parametrize(
    ("tokens", "fault"),
    [({"t7F": "END"}, "80 to FF"), ({"t90": "PRINT"}, "two tokens"), ({"t82": "END"}, "no token")],
)
def test_a_table_that_cannot_be_one_is_refused(tokens, fault):
    with pytest.raises(ValueError, match=fault):
        made(**tokens)


@pytest.mark.parametrize(
    ("name", "last", "keyword"),
    [("8k-8080", 0xC5, "MID$"), ("4k-8080", 0xA5, "SIN"), ("8k-6502", 0xC3, "MID$")],
)
def test_each_table_runs_from_80_without_a_gap(name, last, keyword):
    tokens = DIALECTS[name].tokens
    assert list(tokens) == list(range(0x80, last + 1))
    assert (tokens[0x80], tokens[0x8F], tokens[last]) == ("END", "STOP", keyword)


def test_the_sixteen_first_tokens_are_those_of_every_dialect():
    first = [[each.tokens[token] for token in range(0x80, 0x90)] for each in DIALECTS.values()]
    assert first[1:] == first[:-1]


TABLE = {
    "name": "club-basic",
    "title": "The club's own",
    "source": "read from the interpreter's table, 1979 print-out",
    "tokens": "80 REM 81 DATA 82 PRINT 83 BELL",
}


def test_a_dialect_is_made_of_a_table_of_fields():
    made_of = Dialect.from_table({**TABLE, "confidence": ["all: high"], "may_be_bare": True})
    assert (made_of.name, made_of.title, made_of.source) == tuple(TABLE.values())[:3]
    assert dict(made_of.tokens) == {0x80: "REM", 0x81: "DATA", 0x82: "PRINT", 0x83: "BELL"}
    assert (made_of.confidence, made_of.may_be_bare) == (("all: high",), True)


@pytest.mark.parametrize(
    ("changed", "fault"),
    [
        ({"name": None}, "the field name must be a text"),
        ({"title": " "}, "the field title must be a text"),
        ({"source": 3}, "the field source must be a text"),
        ({"name": "Club Basic"}, "small letters"),
        ({"names": "x"}, "no field is called names"),
        ({"confidence": "high"}, "list of texts"),
        ({"confidence": [1]}, "list of texts"),
        ({"may_be_bare": "yes"}, "true or false"),
        ({"tokens": "80 REM"}, "no token for DATA, PRINT"),
        ({"tokens": "80 REM 81 DATA 82 PRINT 83 bell"}, "'bell' cannot be a keyword"),
        ({"tokens": '80 REM 81 DATA 82 PRINT 83 "'}, "cannot be a keyword"),
        ({"tokens": "REM, DATA"}, "token table"),
    ],
)
def test_a_table_of_fields_that_makes_no_dialect_is_refused(changed, fault):
    with pytest.raises(ValueError, match=fault):
        Dialect.from_table({**TABLE, **changed})


@pytest.mark.parametrize("table", ["80 END 80 FOR", "80 END x", "END"])
def test_a_table_that_cannot_be_read_is_refused(table):
    with pytest.raises(ValueError, match="token table"):
        read_table(table)


def test_a_table_is_read_in_the_order_of_its_tokens_and_cannot_be_changed():
    table = read_table("81 FOR\n 80 END")
    assert list(table.items()) == [(0x80, "END"), (0x81, "FOR")]
    with pytest.raises(TypeError):
        table[0x82] = "NEXT"  # type: ignore[index]  # the read-only view is what is tested
