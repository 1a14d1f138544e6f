"""The seven-bit code table of ECMA-6 (the same set as ISO 646 and ANSI X3.4), on a tape.

Sources: the characters and their bit combinations are those of ECMA-6, International Reference
Version, typed here from memory of the table; even parity in channel 8 is the rule of ECMA-10,
ISO 1113 and ANSI X3.6 (from memory too). The two hexadecimal digits before the stroke are the
bit combination, those after it the frame that a punch makes of it in even parity: that column
was worked out by hand count of the holes, not by the code under test.
"""

import pytest

from server.tape.codes.base import Parity
from server.tape.codes.iso_646 import Iso646
from server.tape.formats.text import Text
from server.tape.image import Image
from server.tape.view import View

CODE_TABLE = """
00/00=NUL 01/81=SOH 02/82=STX 03/03=ETX 04/84=EOT 05/05=ENQ 06/06=ACK 07/87=BEL
08/88=BS  09/09=HT  0A/0A=LF  0B/8B=VT  0C/0C=FF  0D/8D=CR  0E/8E=SO  0F/0F=SI
10/90=DLE 11/11=DC1 12/12=DC2 13/93=DC3 14/14=DC4 15/95=NAK 16/96=SYN 17/17=ETB
18/18=CAN 19/99=EM  1A/9A=SUB 1B/1B=ESC 1C/9C=FS  1D/1D=GS  1E/1E=RS  1F/9F=US
20/A0=SP  21/21=!   22/22="   23/A3=#   24/24=$   25/A5=%   26/A6=&   27/27='
28/28=(   29/A9=)   2A/AA=*   2B/2B=+   2C/AC=,   2D/2D=-   2E/2E=.   2F/AF=/
30/30=0   31/B1=1   32/B2=2   33/33=3   34/B4=4   35/35=5   36/36=6   37/B7=7
38/B8=8   39/39=9   3A/3A=:   3B/BB=;   3C/3C=<   3D/BD==   3E/BE=>   3F/3F=?
40/C0=@   41/41=A   42/42=B   43/C3=C   44/44=D   45/C5=E   46/C6=F   47/47=G
48/48=H   49/C9=I   4A/CA=J   4B/4B=K   4C/CC=L   4D/4D=M   4E/4E=N   4F/CF=O
50/50=P   51/D1=Q   52/D2=R   53/53=S   54/D4=T   55/55=U   56/56=V   57/D7=W
58/D8=X   59/59=Y   5A/5A=Z   5B/DB=[   5C/5C=\\  5D/DD=]   5E/DE=^   5F/5F=_
60/60=`   61/E1=a   62/E2=b   63/63=c   64/E4=d   65/65=e   66/66=f   67/E7=g
68/E8=h   69/69=i   6A/6A=j   6B/EB=k   6C/6C=l   6D/ED=m   6E/EE=n   6F/6F=o
70/F0=p   71/71=q   72/72=r   73/F3=s   74/74=t   75/F5=u   76/F6=v   77/77=w
78/78=x   79/F9=y   7A/FA=z   7B/7B={   7C/FC=|   7D/7D=}   7E/7E=~   7F/FF=DEL
"""

FORMAT_EFFECTORS_IN_LISTINGS = {"HT", "LF", "CR"}
"""Control characters that shape lines: they belong to a text and do not stand out in it."""


def _rows() -> list[tuple[int, int, str]]:
    rows = []
    for cell in CODE_TABLE.split():
        codes, _, name = cell.partition("=")
        bits, frame = codes.split("/")
        rows.append((int(bits, 16), int(frame, 16), name))
    return rows


TABLE = _rows()
GRAPHIC = [row for row in TABLE if len(row[2]) == 1]
CONTROLS = [row for row in TABLE if len(row[2]) > 1 and row[2] not in {"NUL", "SP", "DEL"}]


def test_the_table_holds_each_bit_combination_once_in_order():
    assert list(range(128)) == [bits for bits, _, _ in TABLE]
    assert len(GRAPHIC) == 94
    assert len(CONTROLS) == 31


@pytest.mark.parametrize(("bits", "frame", "name"), GRAPHIC, ids=[row[2] for row in GRAPHIC])
def test_a_graphic_character_is_the_bit_combination_of_the_standard(bits, frame, name):
    assert bytes([bits]) == name.encode("ascii")
    assert bytes([bits]) == Iso646().write(name.encode("ascii"), Parity.NONE)
    assert bytes([frame]) == Iso646().write(name.encode("ascii"), Parity.EVEN)


def test_the_whole_table_is_punched_in_even_parity_as_the_standards_for_tape_say():
    characters = bytes(bits for bits, _, _ in TABLE)

    assert bytes(frame for _, frame, _ in TABLE) == Iso646().write(characters, Parity.EVEN)


def test_every_frame_in_even_parity_has_an_even_number_of_holes():
    assert [name for _, frame, name in TABLE if frame.bit_count() % 2] == []


def test_the_whole_table_is_read_from_tape_without_a_parity_error():
    tape = bytes(frame for _, frame, _ in TABLE)

    read = View(Image(tape)).characters("iso-646")

    assert read.parity == Parity.EVEN
    assert read.parity_errors.tolist() == []
    # NUL is fill and DEL a rubbed out frame: neither is a character of the content.
    assert bytes(bits for bits, _, name in TABLE if name not in {"NUL", "DEL"}) == read.text


@pytest.mark.parametrize("channel", range(1, 9))
def test_one_wrong_hole_in_any_channel_is_a_parity_error_where_it_lies(channel):
    tape = bytearray(frame for _, frame, name in TABLE if name not in {"NUL", "DEL"})
    at = next(at for at, frame in enumerate(tape) if frame == 0x4B)
    tape[at] ^= 1 << (channel - 1)

    read = View(Image(bytes(tape))).characters("iso-646")

    assert [at] == read.parity_errors.tolist()


@pytest.mark.parametrize(
    ("characters", "frames"),
    [
        # Worked examples of the seven-bit code with even parity in channel 8.
        (b"A", "41"),
        (b"C", "C3"),
        (b"1", "B1"),
        (b"\r\n", "8D 0A"),
        (b"\x7f", "FF"),
        (b"N10G01\n", "4E B1 30 47 30 B1 0A"),
    ],
)
def test_worked_examples_of_even_parity_come_out(characters, frames):
    assert bytes.fromhex(frames) == Iso646().write(characters, Parity.EVEN)


@pytest.mark.parametrize(
    ("parity", "frames"),
    [
        # Common practice, no source: a teleprinter that always punches channel 8, or never.
        (Parity.MARK, "C1 8D 8A"),
        (Parity.SPACE, "41 0D 0A"),
        # Odd parity is the complement of the even rule in channel 8.
        (Parity.ODD, "C1 0D 8A"),
    ],
)
def test_other_rules_of_parity_are_punched_as_in_practice(parity, frames):
    assert bytes.fromhex(frames) == Iso646().write(b"A\r\n", parity)


@pytest.mark.parametrize(("bits", "frame", "name"), CONTROLS, ids=[row[2] for row in CONTROLS])
def test_a_control_character_in_a_text_is_told_unless_it_shapes_the_page(bits, frame, name):
    before, after = b"THE TIDE BELL RINGS", b"AT NOON"
    tape = Iso646().write(before + bytes([bits]) + after, Parity.EVEN)

    findings = Text().parse(View(Image(tape))).findings

    told = [finding.frame for finding in findings if finding.kind == "control-character"]
    assert ([] if name in FORMAT_EFFECTORS_IN_LISTINGS else [len(before)]) == told
    assert frame == tape[len(before)]
