"""RFC 9110, HTTP Semantics: ranges (section 14) and conditions (section 13), from memory.

The ranges of an object of 10,000 bytes are the examples of section 14.1.2.
"""

import hashlib

import pytest
from starlette.datastructures import Headers

from server.delivery.conditions import not_modified, revision, tags
from server.delivery.digests import digest_field
from server.delivery.frames import Frames, deliver
from server.delivery.ranges import requested
from server.statuses import Refused
from server.tape.image import Span

SIZE = 10_000


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        ("bytes=0-499", Span(0, 500)),  # the first 500 bytes
        ("bytes=500-999", Span(500, 1000)),  # the second 500 bytes
        ("bytes=-500", Span(9500, 10_000)),  # the final 500 bytes
        ("bytes=9500-", Span(9500, 10_000)),  # the same
        ("bytes=0-0", Span(0, 1)),  # the first byte only
        ("bytes=9999-", Span(9999, 10_000)),
        ("bytes=9000-20000", Span(9000, 10_000)),  # an end beyond is the end (14.1.2)
        ("bytes=-20000", Span(0, 10_000)),  # a suffix longer than the whole is the whole
        ("BYTES=0-1", Span(0, 2)),  # range units do not mind case (14.1)
        ("bytes= 0-1 ", Span(0, 2)),
    ],
)
def test_a_range_of_the_rfc_gives_those_bytes(value, expected):
    assert expected == requested(value, SIZE)


@pytest.mark.parametrize(
    "value",
    [
        "bytes=0-0,-1",  # several ranges: the whole may be sent instead (14.2)
        "bytes=500-600,601-999",
        "frames=0-4",  # a unit that is not understood is ignored (14.2)
        "bytes=5-4",  # invalid: the last is before the first (14.1.2)
        "bytes=",
        "bytes=-",
        "bytes",
        "bytes=a-b",
        "bytes=+1-2",
    ],
)
def test_a_range_without_meaning_gives_the_whole(value):
    assert requested(value, SIZE) is None


@pytest.mark.parametrize("value", ["bytes=10000-", "bytes=10000-10001", "bytes=-0"])
def test_a_range_after_the_end_is_refused_with_the_size(value):
    """Section 15.5.17: 416 carries the current length."""
    with pytest.raises(Refused) as refused:
        requested(value, SIZE)

    assert refused.value.problem.status == 416
    assert refused.value.headers == {"Content-Range": "bytes */10000"}


DATA = bytes(range(256)) * 4
FRAMES = Frames(DATA, hashlib.sha256(DATA).hexdigest(), "1978.12.bin", "verified")
CURRENT = f'"{FRAMES.sha256}"'


def deliver_with(**headers):
    return deliver(FRAMES, Headers({k.replace("_", "-"): v for k, v in headers.items()}))


def test_a_part_carries_the_digest_of_the_whole_and_of_the_part():
    """RFC 9530, section 3: Repr-Digest is that of the whole, whatever part is sent."""
    part = deliver_with(Range="bytes=10-19")

    assert part.status_code == 206
    assert DATA[10:20] == part.body
    assert part.headers["Content-Range"] == "bytes 10-19/1024"
    assert digest_field(DATA) == part.headers["Repr-Digest"]
    assert digest_field(DATA[10:20]) == part.headers["Content-Digest"]
    assert part.headers["Content-Length"] == "10"


@pytest.mark.parametrize(
    ("if_range", "expected"),
    [
        (CURRENT, 206),
        ('"another"', 200),
        (f"W/{CURRENT}", 200),  # weak tags never match here (13.1.5)
        ("Wed, 21 Oct 2026 07:28:00 GMT", 200),  # we give no dates to compare with
    ],
)
def test_a_part_is_sent_only_of_what_the_caller_holds(if_range, expected):
    assert expected == deliver_with(Range="bytes=0-1", If_Range=if_range).status_code


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (CURRENT, True),
        (f"W/{CURRENT}", True),  # weak comparison (13.1.2)
        (f'"a", {CURRENT}', True),
        (f'"a,b" ,{CURRENT}', True),  # a comma inside a tag is part of it
        ("*", True),
        ('"a"', False),
        ('"a", W/"b"', False),
    ],
)
def test_if_none_match_compares_weakly(value, expected):
    assert expected == not_modified(Headers({"If-None-Match": value}), CURRENT)


def test_if_none_match_is_weighed_before_a_range():
    """Section 13.2.2: the order of conditions."""
    response = deliver_with(If_None_Match=CURRENT, Range="bytes=0-1")

    assert response.status_code == 304
    assert response.headers["ETag"] == CURRENT
    assert response.body == b""


@pytest.mark.parametrize("value", ["", "abc", '"a', '"a" "b"', '"a",', "W/a", 'w/"a"'])
def test_what_is_no_list_of_tags_is_refused(value):
    with pytest.raises(Refused) as refused:
        tags(value, field="If-Match")

    assert refused.value.problem.status == 400


@pytest.mark.parametrize(
    ("value", "expected"),
    [('"3"', 3), ("*", None), ('W/"3"', 0), ('"x"', 0), ('"1", "2"', 0), ('""', 0)],
)
def test_if_match_takes_one_strong_tag_of_ours(value, expected):
    """Section 13.1.1: comparison is strong; what was never ours is a revision that never is."""
    assert expected == revision(Headers({"If-Match": value}))


def test_a_change_without_if_match_is_asked_for_one():
    """RFC 6585, section 3."""
    with pytest.raises(Refused) as refused:
        revision(Headers())

    assert refused.value.problem.status == 428
