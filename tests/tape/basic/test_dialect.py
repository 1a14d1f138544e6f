"""A dialect is data: a table that is checked when it is made."""

import pytest

from server.tape.basic import DIALECTS
from server.tape.basic.dialect import Dialect, read_table


def made(**tokens):
    table = {0x80: "REM", 0x81: "DATA", 0x82: "PRINT"}
    return Dialect(
        "test", "Test", "invented", table | {int(k[1:], 16): w for k, w in tokens.items()}
    )


def test_the_8k_table_runs_from_80_to_c5_without_a_gap():
    assert list(DIALECTS["8k-8080"].tokens) == list(range(0x80, 0xC6))


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


@pytest.mark.parametrize("table", ["80 END 80 FOR", "80 END x", "END"])
def test_a_table_that_cannot_be_read_is_refused(table):
    with pytest.raises(ValueError, match="token table"):
        read_table(table)


def test_a_table_is_read_in_the_order_of_its_tokens_and_cannot_be_changed():
    table = read_table("81 FOR\n 80 END")
    assert list(table.items()) == [(0x80, "END"), (0x81, "FOR")]
    with pytest.raises(TypeError):
        table[0x82] = "NEXT"  # type: ignore[index]  # the read-only view is what is tested
