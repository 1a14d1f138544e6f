"""RFC 9530, Digest Fields: its own worked examples (appendix B, section 2 and 3; from memory).

Each digest was worked out again here with hashlib, so a wrong memory of one would show.
"""

import hashlib
from base64 import b64encode

import pytest

from server.delivery.digests import ALGORITHMS, Checker, digest_field, field_of, parse
from server.statuses import Refused

HELLO = b'{"hello": "world"}\n'
"""The body of the RFC's first examples, with the line feed that it ends in."""

HELLO_SHA_256 = "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"
HELLO_SHA_512 = (
    "sha-512=:YMAam51Jz/jOATT6/zvHrLVgOYTGFy1d6GJiOHTohq4yP+pgk4vf2aCs"
    "yRZOtw8MjkM7iw7yZ/WkppmM44T3qg==:"
)


def test_the_digest_of_the_rfcs_body_is_that_of_the_rfc():
    assert digest_field(HELLO) == HELLO_SHA_256


def test_the_field_made_of_a_hexadecimal_digest_is_the_same():
    assert field_of(hashlib.sha256(HELLO).hexdigest()) == HELLO_SHA_256


def test_both_algorithms_of_the_rfcs_example_are_read():
    read = parse(f"{HELLO_SHA_256},\t{HELLO_SHA_512}", field="Repr-Digest")

    assert {
        "sha-256": hashlib.sha256(HELLO).digest(),
        "sha-512": hashlib.sha512(HELLO).digest(),
    } == read


@pytest.mark.parametrize("field", ["Content-Digest", "Repr-Digest", "repr-digest"])
@pytest.mark.parametrize("value", [HELLO_SHA_256, HELLO_SHA_512])
def test_a_body_that_has_its_digest_passes_in_any_chunks(field, value):
    from starlette.datastructures import Headers

    checker = Checker(Headers({field: value}))
    for at in range(0, len(HELLO), 5):
        checker.update(HELLO[at : at + 5])

    checker.finish()


def test_a_body_without_its_line_feed_is_another_and_is_refused():
    checker = Checker({"Content-Digest": HELLO_SHA_256})
    checker.update(HELLO.rstrip(b"\n"))

    with pytest.raises(Refused) as refused:
        checker.finish()

    found = b64encode(hashlib.sha256(HELLO.rstrip(b"\n")).digest()).decode()
    assert refused.value.problem.code == "digest-mismatch"
    assert refused.value.where == "Content-Digest"
    assert found in refused.value.mend


def test_algorithms_that_the_rfc_calls_deprecated_are_passed_over():
    """Section 5: md5, sha, unixsum, unixcksum, adler and crc32c are deprecated."""
    value = ", ".join(f"{name}=:AAAA:" for name in ("md5", "sha", "crc32c"))

    assert parse(value, field="Repr-Digest") == {}
    assert ALGORITHMS == ("sha-256", "sha-512")


@pytest.mark.parametrize(
    "value", ["", "sha-256", "sha-256=RK/0", "sha-256=:RK/0", "sha-256=:a:", "SHA-256=:AAAA:", ","]
)
def test_what_is_not_a_dictionary_of_byte_sequences_is_refused(value):
    with pytest.raises(Refused) as refused:
        parse(value, field="Repr-Digest")

    assert refused.value.problem.code == "malformed"
    assert refused.value.where == "Repr-Digest"
