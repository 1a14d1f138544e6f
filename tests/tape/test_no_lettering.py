"""No letters are seen where none are: a wrong text would blank real data."""

import random
import re

import pytest

from server.tape.formats import FORMATS
from server.tape.formats.text import TextContent
from server.tape.hexadecimal.program import HexProgram
from server.tape.image import Image, Orientation
from server.tape.lettering import APART, letter_frames
from tests.tape import mixed_tapes
from tests.tape.basic_tapes import saved
from tests.tape.lettered import texts


@pytest.mark.parametrize(
    "frames",
    [
        letter_frames("DATA") + bytes(APART - 1) + b"\x41\x42" * 30,
        b"\x41\x42" * 30 + bytes(APART - 1) + letter_frames("DATA"),
        b"\xff" * 20 + letter_frames("DATA") + bytes(40),
        letter_frames("DATA") + b"\xff" * 20,
        letter_frames("TT"),
        letter_frames("I1"),
        letter_frames("A-.-.-.-"),
        letter_frames("LONG " * 80),
    ],
    ids=["near data", "behind data", "by rub-outs", "at rub-outs", "one", "bare", "signs", "long"],
)
def test_what_may_be_data_is_left_alone(frames):
    assert texts(Image(frames)) == []


@pytest.mark.parametrize(("levels", "frame"), [(8, 0x00), (8, 0xFF), (8, 0x80), (5, 0x1F), (5, 1)])
def test_a_tape_of_one_frame_has_no_letters(levels, frame):
    assert texts(Image(bytes([frame]) * 3000, levels)) == []


def sparse(draw):
    """Frames that are mostly blank, of few values: what is likeliest to look like letters."""
    values = [*draw.sample(range(1, 256), draw.randint(1, 5)), 0x7F, 0x41, 0x08]
    blank = draw.uniform(0.2, 0.9)
    return bytes(0 if draw.random() < blank else draw.choice(values) for _ in range(400))


def runs(draw):
    """Runs as long as letters, with gaps as between letters."""
    return b"".join(
        bytes(draw.choices(range(1, 256), k=draw.randint(1, 8))) + bytes(draw.randint(1, 8))
        for _ in range(30)
    )


NOISE = {
    "any": lambda draw: draw.randbytes(400),
    "sparse": sparse,
    "runs": runs,
    "words": lambda draw: b"".join(bytes([0, draw.randrange(256)]) for _ in range(200)),
    "walking": lambda draw: b"".join(bytes([1 << at % 8, 0]) for at in range(draw.randint(8, 200))),
}


@pytest.mark.parametrize("kind", NOISE)
def test_noise_is_no_lettering(kind):
    for seed in range(60):
        draw = random.Random(seed)
        levels = draw.choice([5, 7, 8, 8])
        noise = bytes(frame & (1 << levels) - 1 for frame in NOISE[kind](draw))
        assert texts(Image(bytes(20) + noise + bytes(20), levels)) == [], seed


def tape_of(name, draw):
    lines = tuple(f"{10 * at} PRINT {draw.randint(0, 9999)},A" for at in range(1, 20))
    if name == "text":
        code = draw.choice(["iso-646", "ita2", "rs-244"])
        return FORMATS[name].build(TextContent(lines, line_end=b"\n", code=code))
    if name == "crunched-basic":
        return Image(bytes(50) + saved() + bytes(50))
    return FORMATS[name].build(HexProgram({0: draw.randbytes(draw.randint(1, 300))}))


@pytest.mark.parametrize("name", ["text", "crunched-basic", "intel-hex", "s-record"])
def test_tapes_of_every_format_are_no_lettering(name):
    for seed in range(40):
        image = tape_of(name, random.Random(seed))
        assert all(texts(image.turned(way)) == [] for way in Orientation), seed


def words(*values):
    """16-bit words as frames, the low half first."""
    return b"".join(value.to_bytes(2, "little") for value in values)


def absolute_blocks(draw):
    blocks = b""
    for at in range(draw.randint(1, 6)):
        data = words(*(draw.choice([0, 0, 1, 0o240, draw.randrange(65536)]) for _ in range(9)))
        block = words(1, 6 + len(data), 0o1000 + 18 * at) + data
        blocks += block + bytes([-sum(block) & 0xFF]) + bytes(draw.randint(0, 12))
    return blocks + words(1, 6, 1) + b"\xf8"


def twelve_bit_words(draw):
    pairs = b"".join(
        bytes([word >> 6, word & 0o77])
        for word in (draw.choice([0, 0, 1, 0o7402, draw.randrange(4096)]) for _ in range(60))
    )
    return b"\x80" * 30 + b"\x42\x00" + pairs + b"\x80" * 30


def checksum_blocks(draw):
    blocks = b"\x55AB0"
    for at in range(3):
        data = bytes(draw.choice([0, 0, 0, draw.randrange(256)]) for _ in range(40))
        blocks += bytes([0x3C, len(data), 40 * at, 1]) + data + bytes([sum(data) & 0xFF])
    return blocks + b"\x78\x00\x01"


BINARY = (absolute_blocks, twelve_bit_words, checksum_blocks)


@pytest.mark.parametrize("tape", BINARY, ids=lambda each: each.__name__)
def test_binary_blocks_are_no_lettering(tape):
    for seed in range(60):
        frames = bytes(30) + tape(random.Random(seed)) + bytes(30)
        assert texts(Image(frames)) == [], seed


def test_mixed_tapes_bear_letters_only_where_they_were_given_some():
    for tape in mixed_tapes.tapes(len(mixed_tapes.MAKERS) * len(mixed_tapes.DAMAGE) * 2):
        for way in Orientation:
            found = texts(tape.image.turned(way))
            assert (tape.damage == "lettered") == len(found), (tape.format, tape.damage, way)
            assert all(re.fullmatch("[A-Z]+ [0-9]+", text) for text in found)
