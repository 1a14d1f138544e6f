"""Merging on pages: choosing readings, seeing what they come to, keeping it, settling a frame."""

import re

import pytest

from server.catalog import merged, tapes
from server.catalog.work import COMMAND, unit_of_work
from tests.readings import HEX, PUNCHED, TAPE, flipped, held, merge, read, three, tied


@pytest.fixture
def numbers(app, volunteer):
    return held(app.state.engine, three(PUNCHED))


@pytest.fixture
def open_(app, archivist):
    """A merged reading with one open frame, and the address that settles it."""
    record = merge(app.state.engine, held(app.state.engine, tied(PUNCHED)))
    with unit_of_work(app.state.engine, writes=False) as work:
        (dispute,) = merged.disputes(work, record.row.id).rows
    return f"/merged-readings/{record.row.id}/disputes/{dispute.dispute.column}"


def result_of(numbers) -> str:
    return f"/merge/result?{'&'.join(f'reading={each}' for each in numbers)}"


def test_the_tape_leads_to_the_choice_of_its_readings(volunteer, visitor, numbers):
    page = volunteer.get(f"/tapes/{TAPE}").text
    assert f'href="/merge?tape={TAPE}"' in page
    assert "Merge readings" not in visitor.get(f"/tapes/{TAPE}").text

    choice = volunteer.get(f"/merge?tape={TAPE}").text
    for number in numbers:
        assert re.search(rf'name="reading" value="{number}"[^>]* checked', choice)
    assert "mechanical reader" in choice
    assert "different passes of the tape" in choice


def test_readings_of_a_tape_or_an_image_can_be_added_to_the_choice(volunteer, library, numbers):
    choice = volunteer.get(f"/merge?add={TAPE}").text
    assert f'name="tape" value="{TAPE}"' in choice
    assert f'value="{numbers[0]}"' in choice
    added = volunteer.get(f"/merge?tape={TAPE}&add={library.loose}").text
    assert f'name="image" value="{library.loose}"' in added
    assert added.count('type="checkbox"') == 4
    assert volunteer.get("/merge?add=1999.9").status_code == 404


def test_what_may_be_one_pass_is_marked_and_not_proposed(app, volunteer, numbers):
    with unit_of_work(app.state.engine, COMMAND) as work:
        again = read(work, three(PUNCHED)[0])
    choice = volunteer.get(f"/merge?tape={TAPE}").text

    assert f"May be the same pass as reading {numbers[0]}" in choice
    assert not re.search(rf'value="{again}"[^>]* checked', choice)


def test_what_the_readings_come_to_is_shown_before_it_is_kept(app, volunteer, numbers):
    page = volunteer.get(result_of(numbers)).text

    for told in ("end for end", "starts at 17.78 mm", "by majority", "readings do not agree",
                 "10 PRINT", "Keep this merged reading", "Confidence along the tape"):  # fmt: skip
        assert told in page
    with unit_of_work(app.state.engine, writes=False) as work:
        assert merged.page(work).total == 0


def test_it_is_kept_as_it_was_shown(app, volunteer, visitor, numbers):
    seen = result_of(numbers)
    sha256 = re.search(r'name="sha256" value="(\w+)"', volunteer.get(seen).text)
    assert sha256 is not None
    kept = volunteer.fill_in(
        "/merged-readings", seen_at=seen, reading=[str(each) for each in numbers], sha256=sha256[1]
    )
    page = visitor.get(kept.headers["Location"]).text

    assert (kept.status_code, kept.headers["Location"]) == (303, "/merged-readings/1")
    assert "Merged reading 1, of Tide table" in page
    assert f'href="/images/{sha256[1]}"' in page
    assert "Settle by eye" not in page
    for path in (f"/tapes/{TAPE}", f"/images/{sha256[1]}"):
        assert 'href="/merged-readings/1"' in visitor.get(path).text


def test_what_cannot_be_merged_is_a_choice_again(volunteer, numbers):
    alone = volunteer.get(result_of(numbers[:1]))
    unlike = volunteer.fill_in(
        "/merged-readings",
        seen_at=result_of(numbers),
        reading=[str(each) for each in numbers],
        sha256="0" * 64,
    )

    assert (alone.status_code, unlike.status_code) == (422, 409)
    assert "These cannot be merged" in alone.text
    assert "the image that you saw" in unlike.text
    assert re.search(rf'value="{numbers[0]}"[^>]* checked', alone.text)


def test_merging_is_for_volunteers_and_settling_for_archivists(visitor, volunteer, open_):
    assert visitor.get("/merge").headers["Location"].startswith("/sign-in")
    assert visitor.get(result_of((1, 2))).status_code == 303
    assert volunteer.get(open_).status_code == 403
    sent = volunteer.fill_in(open_, seen_at="/account", choice="no-frame", note="x")
    assert sent.status_code == 403


def test_an_image_that_readings_agree_on_says_so(app, visitor, volunteer):
    record = merge(app.state.engine, held(app.state.engine, three(HEX)))
    page = visitor.get(f"/merged-readings/{record.row.id}").text
    image = visitor.get(f"/images/{record.row.sha256}").text

    assert "checksums settle every disputed frame" in page
    assert "readings agree" in image
    assert "Each of the" in page


def test_disputes_can_be_narrowed_to_what_is_open(archivist, open_):
    here = open_.partition("/disputes")[0]
    page = archivist.get(f"{here}?settled_by=open").text

    assert "Settle by eye" in page
    assert "762.00 mm" in page
    assert f'href="{open_}"' in page
    assert "Settle the first open frame" in page
    assert archivist.get(f"{here}?settled_by=nothing").status_code == 400


def test_a_frame_is_settled_with_the_strips_of_all_readings_in_sight(app, archivist, open_):
    page = archivist.get(open_).text
    assert page.count('class="picture"') == 2
    assert "Settle frame 300" in page
    settled = archivist.fill_in(open_, choice=f"frame {PUNCHED[300]}", note="a clear hole")
    after = archivist.get(settled.headers["Location"]).text

    assert settled.headers["Location"] == "/merged-readings/2"
    assert "a clear hole" in after
    assert "merged reading 1" in after
    with unit_of_work(app.state.engine, writes=False) as work:
        image = tapes.get(work, TAPE).image
        assert image is not None
        assert image.sha256 == merged.get(work, 2).row.sha256
    again = archivist.get(open_).text
    assert 'href="/merged-readings/2"' in again
    back = archivist.get(open_.replace("/1/", "/2/")).text
    assert "Take the settlement back" in back


@pytest.mark.parametrize(
    ("form", "value"),
    [
        ({"choice": "holes", "hole": ["1", "3", "8"]}, 0b10000101),
        ({"choice": "holes"}, 0),
        ({"choice": "no-frame"}, None),
    ],
)
def test_other_holes_or_no_frame_can_be_ruled(app, archivist, open_, form, value):
    archivist.fill_in(open_, note="seen", **form)
    with unit_of_work(app.state.engine, writes=False) as work:
        (settlement,) = merged.get(work, 2).settlements

    assert settlement.value == value


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ({"choice": "no-frame", "note": " "}, "note"),
        ({"note": "seen"}, "ruling"),
        ({"choice": "frame 999", "note": "seen"}, "value"),
        ({"choice": "as-voted", "note": "seen"}, "Nobody settled"),
    ],
)
def test_a_ruling_that_cannot_be_taken_is_a_form_again(archivist, open_, form, told):
    refused = archivist.fill_in(open_, **form)

    assert refused.status_code == 422
    assert "This could not be settled" in refused.text
    assert told in refused.text


def test_what_stands_there_though_no_reading_has_it_can_be_ruled(app, archivist):
    engine = app.state.engine
    parted = [flipped(flipped(PUNCHED, 300, channel=one), 340, channel=two) for one, two in
              ((1, 3), (2, 4))]  # fmt: skip
    record = merge(engine, held(engine, parted))
    with unit_of_work(engine, writes=False) as work:
        (dispute, _) = (each.dispute for each in merged.disputes(work, record.row.id).rows)
    page = archivist.get(f"/merged-readings/1/disputes/{dispute.column}").text

    assert dispute.chosen not in dispute.votes
    assert "though no reading has it" in page
    assert f'value="frame {dispute.chosen}"' in page


def test_a_reading_that_does_not_reach_a_dispute_is_said_to(app, archivist):
    engine = app.state.engine
    record = merge(engine, held(engine, [*tied(PUNCHED), PUNCHED[500:]]))
    with unit_of_work(engine, writes=False) as work:
        place = merged.disputes(work, record.row.id).rows[0].dispute.column

    assert "does not reach so far" in archivist.get(f"/merged-readings/1/disputes/{place}").text
    assert "does not reach here: reading" in archivist.get("/merged-readings/1").text


def test_what_is_not_held_is_not_found(archivist, numbers):
    for path in ("/merged-readings/9", "/merged-readings/9/disputes/1"):
        assert archivist.get(path).status_code == 404


def test_the_help_tells_the_rules(visitor):
    page = visitor.get("/help/merging").text

    assert "files that are alike in every frame count as one pass" in page
    assert "settled by eye is not called so" in page
