"""From the outbox to the real application on loopback: each reading once, and none lost."""

import hashlib
import json
from datetime import UTC, datetime

import httpx
import pytest

from server.station.archive import Archive, fetch
from server.station.errors import NotAsMeant, NotPossible, Refused, Unreachable
from server.station.outbox import Outbox
from server.station.sending import send_all

AT = datetime(2026, 11, 25, 13, 45, 10, tzinfo=UTC)
FRAMES = b"10 PRINT\r\n20 END\r\n"
SAID = {"read_on": "2026-11-25", "reader": "the fast one"}


@pytest.fixture
def outbox(tmp_path):
    return Outbox(tmp_path / "outbox")


@pytest.fixture
def archive(served):
    return Archive(served.url, served.token)


def _names(outbox):
    return sorted(path.name for path in outbox.folder.iterdir() if path.name != ".sending")


def _readings(archive, frames=FRAMES):
    return archive.readings(hashlib.sha256(frames).hexdigest())


def test_what_waits_is_sent_and_recorded_and_its_frames_go(outbox, archive):
    waiting = outbox.put(FRAMES, "tide 2018.2.bin", AT, **SAID)
    name = "tide-2018-2-20261125T134510Z"
    assert _names(outbox) == [f"{name}.bin", f"{name}.json"]

    (sent,) = send_all(outbox, archive)

    assert (sent.held, sent.repeated, sent.problem) == (False, False, None)
    assert _names(outbox) == [f"{name}.sent.json"]
    (reading,) = _readings(archive)
    assert reading["file_name"] == waiting.about.file_name == f"{name}.bin"
    assert (reading["reader"], reading["read_on"]) == ("the fast one", "2026-11-25")
    record = json.loads((outbox.folder / _names(outbox)[0]).read_bytes())
    assert record["receipt"] == {
        "sha256": waiting.about.sha256, "held": False, "reading": reading["id"], "tape": None,
    }  # fmt: skip
    assert list(send_all(outbox, archive)) == []


def test_two_passes_that_give_the_same_frames_are_two_readings(outbox, archive):
    outbox.put(FRAMES, "reel.bin", AT, **SAID)
    outbox.put(FRAMES, "reel.bin", AT.replace(minute=50), **SAID)

    sent = list(send_all(outbox, archive))

    assert [each.held for each in sent] == [False, True]
    assert len(_readings(archive)) == 2


def test_a_crash_after_the_archive_took_it_sends_nothing_twice(outbox, archive):
    """The answer never came to be written down: the outbox is as it was before."""
    outbox.put(FRAMES, "reel.bin", AT, **SAID)
    before = {path.name: path.read_bytes() for path in outbox.folder.iterdir()}
    list(send_all(outbox, archive))
    for path in outbox.folder.iterdir():
        path.unlink()
    for name, data in before.items():
        (outbox.folder / name).write_bytes(data)

    (sent,) = send_all(outbox, archive)

    assert (sent.held, sent.repeated) == (True, True)
    assert len(_readings(archive)) == 1
    assert _names(outbox) == ["reel-20261125T134510Z.sent.json"]


@pytest.mark.parametrize("left", [(".sent.json", ".json", ".bin"), (".sent.json", ".bin")])
def test_a_crash_while_it_is_written_down_sends_nothing_twice(outbox, archive, left):
    waiting = outbox.put(FRAMES, "reel.bin", AT, **SAID)
    saved = {each: waiting.path.with_suffix(each).read_bytes() for each in (".json", ".bin")}
    list(send_all(outbox, archive))
    for each in left:
        if each != ".sent.json":
            waiting.path.with_suffix(each).write_bytes(saved[each])

    list(send_all(outbox, archive))

    assert len(_readings(archive)) == 1
    assert _names(outbox) == ["reel-20261125T134510Z.sent.json"]


def test_a_reading_put_there_again_after_a_crash_is_the_same_reading(outbox, archive):
    outbox.put(FRAMES, "reel.bin", AT, **SAID)
    outbox.put(FRAMES, "reel.bin", AT, **SAID)
    assert len(outbox.waiting()) == 1

    list(send_all(outbox, archive))
    outbox.put(FRAMES, "reel.bin", AT, **SAID)
    assert outbox.waiting() == []

    outbox.put(b"OTHER FRAMES OF THE SAME SECOND", "reel.bin", AT, **SAID)
    assert [each.path.name for each in outbox.waiting()] == ["reel-20261125T134510Z-2"]


def test_frames_that_a_crash_left_without_words_are_named_and_not_sent(outbox, archive):
    waiting = outbox.put(FRAMES, "reel.bin", AT, **SAID)
    waiting.path.with_suffix(".json").unlink()

    assert list(send_all(outbox, archive)) == []
    assert outbox.left_over() == [waiting.path.with_suffix(".bin")]
    outbox.put(FRAMES, "reel.bin", AT, **SAID)
    assert outbox.left_over() == []
    assert len(outbox.waiting()) == 1


def test_with_the_network_down_everything_waits(outbox, closed_port):
    outbox.put(FRAMES, "reel.bin", AT, **SAID)

    with pytest.raises(Unreachable, match="cannot be reached"):
        list(send_all(outbox, Archive(closed_port, "token")))

    (waiting,) = outbox.waiting()
    assert waiting.frames == FRAMES


@pytest.mark.parametrize("status", [429, 500, 502, 503, 504])
def test_an_archive_that_cannot_now_is_asked_again_later(outbox, monkeypatch, status):
    def answer(*_, **__):
        return httpx.Response(status, text="<html>busy</html>")

    monkeypatch.setattr(httpx, "request", answer)
    outbox.put(FRAMES, "reel.bin", AT, **SAID)

    with pytest.raises(Unreachable):
        list(send_all(outbox, Archive("https://tapes.example", "token")))
    assert len(outbox.waiting()) == 1


def test_one_that_is_refused_waits_and_the_rest_is_sent(outbox, archive):
    outbox.put(FRAMES, "first.bin", AT, **SAID, tape="1999.99")
    outbox.put(b"20 PRINT\r\n", "second.bin", AT, **SAID)

    refused, sent = send_all(outbox, archive)

    assert isinstance(refused.problem, Refused)
    assert "1999.99" in refused.problem.what
    assert sent.problem is None
    assert [each.about.tape for each in outbox.waiting()] == ["1999.99"]


def test_a_token_that_is_not_valid_is_refused_and_never_said(outbox, served):
    outbox.put(FRAMES, "reel.bin", AT, **SAID)
    archive = Archive(served.url, "wrong-token-1234")

    (sent,) = send_all(outbox, archive)

    assert isinstance(sent.problem, Refused)
    assert "wrong-token" not in f"{sent.problem.what} {sent.problem.mend} {archive!r}"
    assert len(outbox.waiting()) == 1


def test_frames_that_were_changed_in_the_outbox_are_not_sent(outbox, archive):
    waiting = outbox.put(FRAMES, "reel.bin", AT, **SAID)
    waiting.path.with_suffix(".bin").write_bytes(b"something else")
    (sent,) = send_all(outbox, archive)
    assert "no longer holds" in str(sent.problem)

    waiting.path.with_suffix(".bin").unlink()
    (sent,) = send_all(outbox, archive)
    assert "no longer holds" in str(sent.problem)
    assert _readings(archive) == []


def test_words_that_cannot_be_read_are_named(outbox, archive):
    outbox.folder.mkdir()
    (outbox.folder / "reel-1.json").write_text("{")
    with pytest.raises(NotPossible, match=r"reel-1\.json cannot be read"):
        list(send_all(outbox, archive))


def test_two_do_not_send_from_one_folder_at_once(outbox, archive):
    outbox.put(FRAMES, "reel.bin", AT, **SAID)

    with outbox.alone(), pytest.raises(NotPossible, match="Something else is sending"):
        list(send_all(outbox, archive))
    assert len(list(send_all(outbox, archive))) == 1


def test_frames_are_fetched_only_with_the_digest_that_the_address_names(outbox, archive, served):
    waiting = outbox.put(FRAMES, "reel.bin", AT, **SAID)
    list(send_all(outbox, archive))
    url = f"{served.url}/api/v1/images/{waiting.about.sha256}/frames"

    fetched = fetch(url, None)
    assert (fetched.frames, fetched.sha256) == (FRAMES, waiting.about.sha256)
    assert fetched.verification == "unverified"
    assert fetch(url, archive, waiting.about.sha256.upper()).frames == FRAMES
    with pytest.raises(NotAsMeant):
        fetch(url, archive, "0" * 64)
    with pytest.raises(Refused):
        fetch(f"{served.url}/api/v1/images/{'0' * 64}/frames", archive)


def _answers(monkeypatch, content, headers=None):
    asked = []

    def answer(method, url, **given):
        asked.append(given["headers"])
        return httpx.Response(200, content=content, headers=headers)

    monkeypatch.setattr(httpx, "request", answer)
    return asked


def test_frames_with_a_digest_that_nobody_names_are_not_taken_on_trust(monkeypatch):
    _answers(monkeypatch, FRAMES)

    with pytest.raises(NotPossible, match="Nothing says"):
        fetch("https://tapes.example/reel", None)
    digest = hashlib.sha256(FRAMES).hexdigest()
    assert fetch("https://tapes.example/reel", None, digest).frames == FRAMES


def test_frames_changed_on_the_way_are_refused(monkeypatch):
    _answers(monkeypatch, FRAMES, {"Repr-Digest": "sha-256=:AAAA:"})

    with pytest.raises(NotAsMeant):
        fetch("https://tapes.example/reel", None, hashlib.sha256(FRAMES).hexdigest())


@pytest.mark.parametrize("content", [b"", bytes(50_000_001)])
def test_what_is_no_tape_is_not_fetched(monkeypatch, content):
    _answers(monkeypatch, content)
    with pytest.raises(NotAsMeant, match="no tape"):
        fetch("https://tapes.example/reel", None, "0" * 64)


def test_the_token_goes_to_the_archive_it_is_for_and_nowhere_else(monkeypatch):
    asked = _answers(monkeypatch, FRAMES)
    digest = hashlib.sha256(FRAMES).hexdigest()
    own = Archive("https://tapes.example", "secret")

    fetch("https://tapes.example/api/v1/punchings/1/frames", own, digest)
    fetch("https://tapes.example.evil.example/frames", own, digest)
    fetch("http://tapes.example/frames", own, digest)

    assert asked == [{"Authorization": "Bearer secret"}, {}, {}]


@pytest.mark.parametrize(
    "address", ["tapes.example", "ftp://tapes.example", "http://", "http://[", ""]
)
def test_what_is_no_address_of_an_archive_is_refused(address):
    with pytest.raises(NotPossible, match="is no address"):
        Archive(address)


@pytest.mark.parametrize(
    ("address", "token", "clear"),
    [
        ("http://tapes.example", "t", True), ("https://tapes.example", "t", False),
        ("http://127.0.0.1:8000", "t", False), ("http://tapes.example", "", False),
    ],
)  # fmt: skip
def test_a_token_that_everybody_could_read_on_the_way_is_warned_of(address, token, clear):
    assert Archive(address, token).in_the_clear is clear
