"""Bodies are read no further than they may be."""

import asyncio

import pytest

from server.delivery.bodies import FORM_OVERHEAD, BodyLimit, BodyTooLarge, tapped

LIMIT = 1000


class Sender:
    """Whoever sends a body, a chunk at a time; `sent` counts the bytes that were asked for."""

    def __init__(self, chunk=100, chunks=100_000):
        self.chunk = chunk
        self.chunks = chunks
        self.sent = 0

    async def receive(self):
        self.sent += self.chunk
        more = self.sent < self.chunk * self.chunks
        return {"type": "http.request", "body": b"x" * self.chunk, "more_body": more}


async def send_nothing(message):
    raise AssertionError(message)


async def read_all(scope, receive, send):
    while (await receive())["more_body"]:
        pass


def serve(sender, **headers):
    scope = {
        "type": "http",
        "headers": [(name.replace("_", "-").encode(), value.encode())
                    for name, value in headers.items()],
    }  # fmt: skip
    asyncio.run(BodyLimit(read_all, lambda _: LIMIT)(scope, sender.receive, send_nothing))


def test_a_body_as_long_as_the_limit_is_read():
    sender = Sender(chunks=10)
    serve(sender)

    assert sender.sent == LIMIT


def test_an_endless_body_is_given_up_within_a_chunk_of_the_limit():
    sender = Sender()
    with pytest.raises(BodyTooLarge) as refused:
        serve(sender)

    assert refused.value.limit == LIMIT
    assert sender.sent == LIMIT + sender.chunk


def test_a_length_announced_over_the_limit_is_refused_unread():
    sender = Sender()
    with pytest.raises(BodyTooLarge):
        serve(sender, content_length=str(LIMIT + 1))

    assert sender.sent == 0


def test_a_length_announced_too_short_is_not_believed():
    with pytest.raises(BodyTooLarge):
        serve(Sender(), content_length="5")


def test_a_form_may_be_longer_by_what_it_has_beside_the_file():
    form = {"content_type": "multipart/form-data; boundary=edge"}
    serve(Sender(chunk=FORM_OVERHEAD, chunks=1), **form)
    sender = Sender(chunk=FORM_OVERHEAD, chunks=2)

    with pytest.raises(BodyTooLarge) as refused:
        serve(sender, **form)
    assert refused.value.limit == LIMIT


def test_what_is_tapped_arrives_unchanged():
    sender, seen = Sender(chunk=3, chunks=2), list[bytes]()

    async def read():
        receive = tapped(sender.receive, seen.append)
        return [(await receive())["body"] for _ in range(2)]

    assert asyncio.run(read()) == seen == [b"xxx", b"xxx"]
