"""Downloads: verified images at once, others only when that was acknowledged."""

import hashlib
from base64 import b64encode


def test_a_verified_image_is_sent_with_its_digest(visitor, library):
    response = visitor.get(f"/images/{library.hex}/download")
    digest = hashlib.sha256(response.content)

    assert response.status_code == 200
    assert digest.hexdigest() == library.hex
    assert response.headers["ETag"] == f'"{library.hex}"'
    assert response.headers["Repr-Digest"] == f"sha-256=:{b64encode(digest.digest()).decode()}:"
    assert response.headers["Content-Type"] == "application/octet-stream"
    assert response.headers["Content-Disposition"].startswith("attachment; filename=")
    assert "Content-Encoding" not in response.headers


def test_an_unverified_image_is_offered_apart_with_a_warning(visitor, library):
    response = visitor.get(f"/images/{library.kites}/download")

    assert response.status_code == 200
    assert "text/html" in response.headers["Content-Type"]
    assert "Nothing vouches for this image" in response.text


def test_without_the_tick_nothing_is_sent(visitor, library):
    response = visitor.fill_in(f"/images/{library.kites}/download")

    assert response.status_code == 409
    assert "Tick this box" in response.text


def test_with_the_tick_the_image_is_sent_and_named_unverified(visitor, library):
    response = visitor.fill_in(f"/images/{library.kites}/download", acknowledged="yes")

    assert hashlib.sha256(response.content).hexdigest() == library.kites
    assert "unverified" in response.headers["Content-Disposition"]
    assert response.headers["Cache-Control"] == "no-store"


def test_an_image_that_was_fetched_before_is_not_sent_again(visitor, library):
    headers = {"If-None-Match": f'"{library.hex}"'}

    assert visitor.get(f"/images/{library.hex}/download", headers=headers).status_code == 304
