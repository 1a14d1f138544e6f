"""Long tapes made to be as costly as can be: time and findings are bounded."""

import time

import numpy as np
import pytest

from server.tape.formats.intel_hex import IntelHex
from server.tape.formats.s_record import SRecord
from server.tape.formats.semicolon_hex import SemicolonHex
from server.tape.formats.tek_hex import TekHex
from server.tape.formats.unrecognised import Unrecognised
from server.tape.image import Image
from server.tape.view import View

NOISY = 10_000_000
SIZE = 3_000_000
MOST_FINDINGS = 2500

NOISE = np.random.default_rng(7).integers(0, 256, NOISY, dtype=np.uint8).tobytes()
COSTLY = {
    "noise": NOISE,
    "marks only": b":" * SIZE,
    "marks and digits": b":12345678" * (SIZE // 9),
    "failing records": b":010000000000" * (SIZE // 13),
    "digits only": b"0123456789\n" * (SIZE // 11),
    "digits on one line": b"0" * SIZE,
    "records with a word each": b":00000001FF HI\n" * (SIZE // 15),
    "letters and digits": b"S1F3456789" * (SIZE // 10),
    "long failing records": (b":FF000000" + b"5A" * 255 + b"00\r\n") * (SIZE // 523),
    "long records, a digit short": (b":FF000000" + b"5A" * 255 + b"0\r\n") * (SIZE // 522),
    "records of semicolons": b";FF0000" * (SIZE // 7),
    "records of semicolons that fail": (b";FF0000" + b"5A" * 256 + b"0\r\n") * (SIZE // 523),
    "records of strokes": b"/0000010100" * (SIZE // 11),
    "records of strokes that fail": (b"/0000FF1E" + b"5A" * 255 + b"0\r\n") * (SIZE // 522),
    "records broken off": b"//NO\r" * (SIZE // 5),
}


@pytest.mark.parametrize("name", COSTLY)
@pytest.mark.parametrize(
    "each", [IntelHex(), SRecord(), SemicolonHex(), TekHex()], ids=lambda each: each.name
)
def test_a_costly_tape_is_read_in_bounded_time(each, name):
    view = View(Image(COSTLY[name]))
    view.characters()
    start = time.perf_counter()
    decoding = each.parse(view)
    taken = time.perf_counter() - start
    assert len(decoding.findings) <= MOST_FINDINGS
    # Under a second on a quiet machine.
    assert taken < 6


def test_noise_is_dumped_in_bounded_time():
    view = View(Image(NOISE))
    start = time.perf_counter()
    assert len(Unrecognised().parse(view).listing) == NOISY // 16
    assert time.perf_counter() - start < 8


def test_records_scattered_over_memory_are_read_in_bounded_time():
    numbers = np.random.default_rng(3).integers(0, 1 << 32, 100_000, dtype=np.uint64)
    lines = []
    for address in numbers.tolist():
        body = b"\x06" + address.to_bytes(4, "big") + b"\x55"
        lines.append(b"S3%s%02X" % (body.hex().encode(), ~sum(body) & 0xFF))
    view = View(Image(b"\n".join(lines)))
    view.characters()
    start = time.perf_counter()
    decoding = SRecord().parse(view)
    assert time.perf_counter() - start < 8
    assert len(decoding.listing) > 99_000
    assert len(decoding.findings) < MOST_FINDINGS
