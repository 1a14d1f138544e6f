"""A new tape at the machine, from the archive and back: punched over a pty, read over another."""

import hashlib
import json
import os
from pathlib import Path
from typing import Any

import httpx
import pytest

from server.cli import main
from server.commands.console import DONE, REFUSED, UNUSABLE

PROGRAM = bytes(80) + b"10 PRINT\r\n20 END\r\n" + bytes(80)


@pytest.fixture
def api(at_archive):
    headers = {"Authorization": f"Bearer {at_archive.token}"}
    base = f"{at_archive.url}/api/v1"
    with httpx.Client(base_url=base, headers=headers, timeout=60, trust_env=False) as client:
        yield client


@pytest.fixture
def punching(api) -> dict[str, Any]:
    """A punching that waits for the punch."""
    sent = api.post("/images", files={"file": ("reel.bin", PROGRAM)}).raise_for_status()
    new = {"image": sent.json()["sha256"], "acknowledged": True}
    (made,) = api.post("/punchings", json=new).raise_for_status().json()
    return dict(made)


@pytest.fixture
def frames(api, at_archive, punch, punching) -> bytes:
    """What the punch was given by the command, which the archive was told of."""
    machine = punch()
    url = f"{at_archive.url}/api/v1/punchings/{punching['id']}/frames"
    assert main(["punch", machine.port, url, "--baud", "115200", "--yes"]) == DONE
    machine.close()
    assert hashlib.sha256(machine.heard).hexdigest() == punching["sha256"]
    done = {"medium": "paper", "rate": 70}
    api.post(f"/punchings/{punching['id']}/punched", json=done).raise_for_status()
    return bytes(machine.heard)


def _read_back(machine, file, punching, *more) -> int:
    words = ["read", machine.port, str(file), "--baud", "9600", "--reader-control"]
    return main([*words, "--trailer", "30", "--read-back", str(punching["id"]), *more])


def test_a_tape_that_reads_back_the_same_is_accessioned(api, reader, reel, punching, frames, said):
    assert _read_back(reader(frames), reel, punching, "--reader", "bench reader") == DONE

    now = api.get(f"/punchings/{punching['id']}").json()
    assert now["status"] == "read back: same"
    assert f"now 'read back: same', tape {now['tape']}" in said().out
    assert now["read_backs"][0]["reader"] == "bench reader"


def test_a_read_back_is_sent_once_though_the_answer_was_lost(
    api, reader, reel, outbox, punching, frames, said
):
    wrong = bytes([*frames[:100], frames[100] ^ 0x41, *frames[101:]])
    assert _read_back(reader(wrong), reel, punching) == DONE
    assert "read back: differs" in said().out
    (record,) = outbox.glob("*.sent.json")
    words = json.loads(record.read_bytes())
    words.pop("receipt")
    waiting = Path(str(record).replace(".sent.json", ".json"))
    waiting.with_suffix(".bin").write_bytes(reel.read_bytes())
    waiting.write_text(json.dumps(words))
    record.unlink()

    assert main(["send"]) == DONE
    assert "has this reading already" in said().out
    assert len(api.get(f"/punchings/{punching['id']}").json()["read_backs"]) == 1


def test_a_punching_that_does_not_wait_for_it_refuses_and_the_reading_waits(
    reader, reel, punching, said
):
    assert _read_back(reader(PROGRAM), reel, punching) == REFUSED
    assert main(["send", "--list"]) == DONE
    assert "reel-" in said().out


def test_a_new_tape_has_no_number_yet(reel, said):
    words = ["read", os.devnull, str(reel), "--read-back", "1", "--tape", "2018.2"]

    assert main(words) == UNUSABLE
    assert "--tape" in said().err
