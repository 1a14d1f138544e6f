"""Lengths as people write them. An inch is 25.4 mm exactly (ISO 31-1, from memory)."""

import pytest

from server.catalog.lengths import millimetres


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("3410", 3410.0),
        (" 3410 mm ", 3410.0),
        ("341cm", 3410.0),
        ("3.41 m", 3410.0),
        ("3,41 m", 3410.0),
        ("100 in", 2540.0),
        ("11 ft", 3352.8),
        ("11 ft 2 in", 3403.6),
        ("11ft 2.5in", 3416.3),
        ("Frame 1000", 2540.0),
        (12.5, 12.5),
        (None, None),
    ],
)
def test_a_length_is_read_with_its_unit(written, meant):
    assert millimetres(written) == (meant if meant is None else pytest.approx(meant))


@pytest.mark.parametrize(
    "written", ["", "far", "-1", "3 yards", "1.2.3 m", "3,410 mm", "frame 1.5", "1e3", "2 in 3 ft"]
)
def test_what_is_no_length_is_refused_with_examples(written):
    with pytest.raises(ValueError, match=r"3\.41 m"):
        millimetres(written)
