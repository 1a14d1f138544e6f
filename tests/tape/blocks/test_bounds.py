"""Tapes made to be as costly as can be: time and findings are bounded."""

import numpy as np
import pytest

from server.tape.formats import FORMATS
from server.tape.image import Image
from server.tape.view import View

SIZE = 3_000_000
MOST_FINDINGS = 2500

COSTLY = {
    "noise": np.random.default_rng(7).integers(0, 256, SIZE, dtype=np.uint8).tobytes(),
    "marks": b"\1\0" * (SIZE // 2),
    "heads that close": b"\1\0\7\0\0\0\x41\xb7" * (SIZE // 8),
    "heads that do not": b"\1\0\7\0\0\0\x41\xb8" * (SIZE // 8),
    "stray frames between all": b"\1\0\7\0\0\0\x41\xb7\x77" * (SIZE // 9),
    "the same mark": b"\x3c" * SIZE + b"12345678",
    "records": b"\x3c\1\0\0\x41\x41" * (SIZE // 6),
    "records and stray frames": b"\x3c\1\0\0\x41\x41\x99" * (SIZE // 7),
    "names": b"\x55AB\r\x3c\1\0\0\x41\x41" * (SIZE // 10),
    "origins": b"\x42" * 5 + b"\x42\x43" * (SIZE // 2),
    "leader between all": b"\x80\x80\x42\0\3\4" * (SIZE // 6),
    "comments": b"\xff\x42\0\3" * (SIZE // 4),
}


@pytest.mark.parametrize("tape", COSTLY)
@pytest.mark.parametrize("name", ["absolute-block", "checksum-block", "rim12", "bin12"])
def test_a_costly_tape_gives_findings_in_bounded_number(name, tape):
    view = View(Image(COSTLY[tape]))
    assert view.data.frames
    FORMATS[name].recognise(view)
    decoding = FORMATS[name].parse(view)
    assert len(decoding.findings) <= MOST_FINDINGS
