"""Tapes of crunched BASIC made frame by frame, and what hypothesis draws for them."""

from hypothesis import strategies as st

from server.tape.basic.dialect_8k_8080 import DIALECT_8K_8080
from server.tape.basic.program import BasicProgram

START = 0x2001

PROGRAM = (
    (10, b'\x96"HI"'),
    (20, b"\x8e FOR THE DESK"),
    (30, b"\x83A,TO:\x96A"),
    (40, b"\x81I\xac1\x9e10:\x96I;:\x82"),
    (50, b"\x8aA\xac7\xa1300"),
    (300, b"\x8810"),
)
"""Lines as an interpreter of the 8K class keeps them."""

LISTED = (
    '10 PRINT"HI"',
    "20 REM FOR THE DESK",
    "30 DATAA,TO:PRINTA",
    "40 FORI=1TO10:PRINTI;:NEXT",
    "50 IFA=7THEN300",
    "300 GOTO10",
)


def linked(lines, start=START):
    """The linked lines of a program and its zero link; links pass FFFF over, but never 0."""
    saved = bytearray()
    address = start
    for number, text in lines:
        address = (address + 5 + len(text)) % 0x10000
        saved += (address or 1).to_bytes(2, "little") + number.to_bytes(2, "little") + text + b"\0"
    return bytes(saved + b"\0\0")


def saved(lines=PROGRAM, name=b"A", start=START):
    """What a machine punches of a program, without leader and trailer."""
    return b"\xd3\xd3\xd3" + name + linked(lines, start)


KEYWORDS = tuple(DIALECT_8K_8080.tokens.values())
_OUTSIDE = st.text(st.sampled_from([chr(c) for c in range(0x20, 0x5F) if chr(c) not in '?"']))
_INSIDE = st.text(st.sampled_from([chr(c) for c in range(0x20, 0x7F) if chr(c) != '"']))


def statements():
    """Statements as a person may type them: keywords, names, strings, remarks, data.

    Lower case and question marks stand in strings only, since elsewhere they are changed.
    """
    piece = st.one_of(
        st.sampled_from(KEYWORDS),
        _OUTSIDE,
        _INSIDE.map('"{}"'.format),
        _OUTSIDE.map("DATA{}".format),
    )
    body = st.lists(piece, max_size=5).map("".join)
    ending = st.one_of(st.just(""), _OUTSIDE.map("REM{}".format), _INSIDE.map('"{}'.format))
    return st.tuples(body, ending).map("".join).map(lambda text: text.lstrip()[:72])


def programs():
    """Programs that an interpreter can hold, with rising numbers."""
    numbers = st.lists(st.integers(0, 65529), min_size=1, max_size=6, unique=True).map(sorted)
    return numbers.flatmap(
        lambda chosen: st.builds(
            BasicProgram,
            name=st.sampled_from("ABXYZ09!"),
            lines=st.tuples(*(st.tuples(st.just(n), statements().filter(bool)) for n in chosen)),
            start_address=st.integers(0x0401, 0x8001),
            leader=st.integers(0, 80),
            trailer=st.integers(0, 80),
        )
    )
