"""What a merge came to, as pages show it: votes grouped, and doubt along the tape."""

import numpy as np

from server.catalog.merging_values import DisputeRecord
from server.catalog.records import ReadingRecord
from server.tape.merging import Dispute, SettledBy
from server.web.merge_shown import disputes_shown, doubt, frame_shown, of_percent
from tests.store.rows import NOW


def reading(number: int) -> ReadingRecord:
    return ReadingRecord(number, "0" * 64, "a.bin", None, None, "", "Ada", NOW)


def test_equal_votes_stand_together_the_most_first():
    dispute = Dispute(
        column=9,
        frame=8,
        votes=(0x41, 0x42, None, 0x42, None),
        sources=(5, 30, 7, 9, None),
        chosen=0x42,
        settled_by=SettledBy.MAJORITY,
        confidence=0.9,
    )
    readings = [reading(number) for number in range(1, 6)]
    (shown,) = disputes_shown([DisputeRecord(dispute, None)], readings, 8, "iso-646")

    assert [[each.reading.id for each in vote.voters] for vote in shown.votes] == [[2, 4], [1], [3]]
    assert [vote.is_chosen for vote in shown.votes] == [True, False, False]
    assert [vote.frame.character for vote in shown.votes] == ["B", "A", ""]
    assert [each.id for each in shown.beyond] == [5]
    assert shown.votes[0].voters[0].strip.endswith("?start=10")
    assert shown.votes[1].voters[0].strip.endswith("?start=0")


def test_a_place_without_a_frame_is_called_so():
    assert frame_shown(None, 8, None).holes == "no frame"


def test_the_lowest_confidence_at_each_place_is_drawn():
    confidence = np.ones(10_000, np.float32)
    confidence[5_000] = 0.75
    found = doubt(confidence)

    assert (found.lowest, found.at, found.doubtful) == (0.75, 5_000, 1)
    assert "L500.0 20.0H504.0" in found.path
    assert found.path.count("L") == 250
    assert found.path.endswith("H1000.0V40z")


def test_confidence_below_a_half_reaches_the_bottom_on_a_short_tape():
    found = doubt(of_percent(bytes([100, 20])))

    assert found.path == "M0 40L0.0 0.0H500.0L500.0 40.0H1000.0V40z"
    assert found.doubtful == 1
