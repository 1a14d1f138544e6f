"""RFC 9110, section 12.5.1: which form an Accept header prefers. Rules from memory."""

import pytest

from server.api.accept import preferred
from server.statuses import Refused

TEXT, LINES = "text/plain", "application/x-ndjson"
OFFERED = (TEXT, LINES)


@pytest.mark.parametrize(
    ("accept", "expected"),
    [
        ("*/*", TEXT),  # of equals, ours is the choice
        ("application/*", LINES),
        ("text/plain;q=0.5, application/x-ndjson", LINES),  # the greater weight
        ("application/x-ndjson;q=0.5, text/plain;q=0.7", TEXT),
        ("*/*, text/plain;q=0", LINES),  # the more specific range counts, and 0 is 'not this'
        ("text/*;q=0.3, text/plain;q=0.7, application/x-ndjson;q=0.5", TEXT),
        ("TEXT/PLAIN", TEXT),  # media types do not mind case
        ("application/x-ndjson ; charset=utf-8", LINES),
        ("image/png, , application/x-ndjson", LINES),  # empty members are passed over (5.6.1)
        ("text/plain;q=nonsense, application/x-ndjson;q=0.1", LINES),
        ("text/plain;q=5", TEXT),  # more than 1 is 1
    ],
)
def test_the_form_that_weighs_most_is_sent(accept, expected):
    assert preferred(accept, OFFERED) == expected


@pytest.mark.parametrize("accept", ["image/png", "text/plain;q=0", "text/html, */*;q=0", ""])
def test_where_none_is_taken_the_forms_that_there_are_are_named(accept):
    with pytest.raises(Refused) as refused:
        preferred(accept, OFFERED)

    assert refused.value.problem.status == 406
    assert TEXT in refused.value.mend
    assert LINES in refused.value.mend
