import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.tape.errors import CannotBuild
from server.tape.findings import CheckStatus
from server.tape.formats.base import Loader
from server.tape.formats.raw_binary import RawBinary, RawCode
from server.tape.image import Image, Orientation
from server.tape.view import View
from tests.tape.code_tapes import BASES, PROCESSORS, invented_code

FORMAT = RawBinary()
ENDS = st.integers(1, 253)


def confidence(frames: bytes, orientation: Orientation = Orientation.AS_READ) -> float:
    evidence = FORMAT.recognise(View(Image(frames), orientation))
    return evidence.confidence if evidence else 0.0


@given(st.binary(max_size=200), ENDS, st.integers(0, 30), st.integers(0, 30))
def test_what_was_punched_is_read_again(middle, end, leader, trailer):
    data = bytes([end]) + middle + bytes([end ^ 0x01 or 2])
    decoding = FORMAT.parse(View(FORMAT.build(RawCode(data, leader, trailer))))
    assert decoding.content == data
    assert decoding.data == (leader, leader + len(data))


@given(st.binary(min_size=1, max_size=300))
def test_any_frames_can_be_read(frames):
    FORMAT.recognise(View(Image(frames)))
    FORMAT.parse(View(Image(frames)))


@pytest.mark.parametrize("base", BASES)
@pytest.mark.parametrize("processor", PROCESSORS)
def test_code_is_claimed_the_right_way_round_only(processor, base):
    code = invented_code(processor, 1500, base, seed=base)
    frames = FORMAT.build(RawCode(code)).frames
    assert 0.5 < confidence(frames) <= 0.8
    assert [confidence(frames, way) for way in list(Orientation)[1:]] == [0.0, 0.0, 0.0]


def test_the_facts_of_a_tape_of_code():
    code = invented_code("8080", 1500, 0x100, seed=1)
    decoding = FORMAT.parse(View(FORMAT.build(RawCode(code))))
    (finding,) = decoding.findings
    assert "code of the 8080" in finding.message
    assert "its jumps fit 0100" in finding.message
    assert (decoding.load_ranges, decoding.memory) == ((), {})
    assert (decoding.loader, decoding.check_status) == (
        Loader.KEYED_BOOTSTRAP,
        CheckStatus.NO_CHECK,
    )
    assert [line.key for line in decoding.listing][:2] == [0, 16]


def _noise(random_: random.Random, size: int) -> bytes:
    return random_.randbytes(size)


def _skewed(random_: random.Random, size: int) -> bytes:
    values = (0, 0, 1, 0xC3, 0xCD, 0x21, random_.randrange(256))
    return bytes(random_.choice(values) for _ in range(size))


def _words(random_: random.Random, size: int) -> bytes:
    return b"".join(
        random_.choice((1, 0x15C0, 0x0087, random_.randrange(0x10000))).to_bytes(2, "little")
        for _ in range(size // 2)
    )


def _text(random_: random.Random, size: int) -> bytes:
    return (b"THE TIDE TABLE OF THE HARBOUR. " * (size // 31 + 1))[:size]


@pytest.mark.parametrize("make", [_noise, _skewed, _words, _text])
@pytest.mark.parametrize("size", [20, 200, 3000])
def test_what_is_no_code_is_not_claimed(make, size):
    for seed in range(20):
        data = b"\x11" + make(random.Random(seed), size) + b"\x11"
        assert confidence(data) == 0.0


def test_instructions_that_jump_nowhere_are_not_claimed():
    assert confidence(bytes.fromhex("3E41D3013E42D301AF7723E5D5E1D1C9") * 40) == 0.0


def test_a_tape_of_seven_levels_is_not_claimed():
    assert FORMAT.recognise(View(Image(bytes(range(1, 128)), 7))) is None


@pytest.mark.parametrize("data", [b"", b"\0\1\2", b"\1\2\xff"])
def test_ends_that_look_like_leader_are_refused(data):
    with pytest.raises(CannotBuild):
        FORMAT.build(RawCode(data))
