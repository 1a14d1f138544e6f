"""RFC 9457, Problem Details for HTTP APIs: the members of section 3.1, from memory."""

import json
from urllib.parse import urlsplit

import pytest
from starlette.requests import Request

from server.api.problems import MEDIA_TYPE, document, refuse_by_archive
from server.catalog.errors import Invalid
from server.statuses import PROBLEMS

REQUEST = Request(
    {
        "type": "http",
        "method": "GET",
        "path": "/api/v1/tapes/1978.12",
        "query_string": b"",
        "headers": [(b"host", b"archive.example")],
        "server": ("archive.example", 443),
        "scheme": "https",
        "root_path": "",
    }
)


@pytest.mark.parametrize("problem", PROBLEMS.values(), ids=PROBLEMS)
def test_a_document_has_the_standard_members_of_their_types(problem):
    response = document(REQUEST, problem, "What is wrong this time.")
    body = json.loads(bytes(response.body))

    # 3.1.1: a URI reference; 3.1.2: the status of this very answer; 3.1.3: a short summary that
    # does not change from one occurrence to the next; 3.1.4: about this one; 3.1.5: a reference.
    assert isinstance(body["type"], str)
    assert urlsplit(body["type"]).path.startswith("/")
    assert response.status_code == body["status"]
    assert isinstance(body["status"], int)
    assert problem.title == body["title"]
    assert body["detail"] == "What is wrong this time."
    assert body["instance"] == "/api/v1/tapes/1978.12"


def test_the_media_type_is_the_registered_one():
    """Section 6."""
    assert MEDIA_TYPE == "application/problem+json"
    assert document(REQUEST, PROBLEMS["internal"], "…").headers["Content-Type"] == MEDIA_TYPE


def test_extension_members_have_names_that_the_rfc_advises():
    """Section 3.2: three or more characters, starting with a letter; letters, digits, _."""
    error = Invalid("wrong", where="title", mend="Mend it.", fields={"title": "this must be given"})
    body = json.loads(bytes(refuse_by_archive(REQUEST, error).body))

    assert body["errors"] == [{"field": "title", "detail": "this must be given"}]
    assert all(len(name) >= 3 and name.replace("_", "").isalpha() for name in body)
