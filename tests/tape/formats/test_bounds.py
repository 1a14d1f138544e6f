"""Whatever is on the tape: no error, and a bounded number of findings.

What it costs is measured by `python -m tests.bench.bench_bounds`.
"""

import pytest

from server.tape.formats import FORMATS
from server.tape.image import Image
from server.tape.view import View
from tests.tape.costly_tapes import COSTLY, scattered_records

SIZE = 300_000
MOST_FINDINGS = 2500


@pytest.mark.parametrize("costly", COSTLY.values(), ids=COSTLY.keys())
@pytest.mark.parametrize("each", FORMATS.values(), ids=FORMATS.keys())
def test_a_costly_tape_gives_findings_in_bounded_number(each, costly):
    view = View(Image(costly(SIZE)))

    each.recognise(view)

    assert len(each.parse(view).findings) <= MOST_FINDINGS


def test_records_scattered_over_memory_have_a_line_each():
    decoding = FORMATS["s-record"].parse(View(Image(scattered_records(SIZE))))

    assert len(decoding.listing) > 0.99 * SIZE // 17
