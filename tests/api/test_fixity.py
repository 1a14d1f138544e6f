"""Fixity audits through the API."""

import time

from server.jobs.background import Background
from tests.api.conftest import V1
from tests.api.sending import sha, upload
from tests.api.tapes_to_read import ORCHARD, text_tape
from tests.spoiling import spoil

TAPE = text_tape(ORCHARD)
SHA = sha(TAPE)


def audited(app, archivist):
    """What the API says of an audit once it is over."""
    at = f"{V1}/work/fixity-audit"
    with Background(app.state.settings) as background:
        app.state.background = background
        try:
            started = archivist.post(at)
            assert started.status_code == 202
            told, until = started.json(), time.monotonic() + 20
            while told["standing"] != "done" and time.monotonic() < until:
                time.sleep(0.05)
                told = archivist.get(at).json()
            assert archivist.delete(at).json() == told
            return told
        finally:
            app.state.background = None


def test_an_audit_is_started_and_looked_at_by_archivists(app, volunteer, archivist):
    upload(volunteer, TAPE)
    at = f"{V1}/work/fixity-audit"
    assert volunteer.get(at).status_code == 403
    assert archivist.get(at).json() is None
    assert archivist.post(at).status_code == 409
    told = audited(app, archivist)
    assert (told["by"], told["images"], told["failing"], told["mended"]) == ("Archivist", 1, 0, 0)


def test_anybody_sees_what_the_audits_found(app, visitor, volunteer, archivist):
    upload(volunteer, TAPE)
    assert visitor.get(f"{V1}/fixity").json() == {"audits": [], "failing": []}
    assert visitor.get(f"{V1}/images/{SHA}").json()["fixity_checked"] is None
    spoil(app.state.engine, SHA)
    audited(app, archivist)

    told = visitor.get(f"{V1}/fixity").json()
    (audit,), (failing,) = told["audits"], told["failing"]
    assert (audit["by"], audit["images"], audit["failing"]) == ("a volunteer", 1, 1)
    assert archivist.get(f"{V1}/fixity").json()["audits"][0]["by"] == "Archivist"
    assert (failing["title"], failing["failure"]["sha256"]) == ("reel.bin", SHA)
    image = visitor.get(f"{V1}/images/{SHA}").json()
    assert image["fixity_failure"] == failing["failure"]
    assert image["fixity_checked"] == audit["ended"]


def test_its_frames_are_refused_until_the_same_reading_is_sent_again(app, volunteer, archivist):
    upload(volunteer, TAPE)
    spoil(app.state.engine, SHA)
    audited(app, archivist)
    for at in ("frames", "prepared", "prepared/reels/1?acknowledged=true"):
        refused = volunteer.get(f"{V1}/images/{SHA}/{at}")
        assert (refused.status_code, refused.json()["code"]) == (409, "fixity-failed")
        assert refused.json()["type"] == "/help/problems#fixity-failed"
        assert "Upload the file of the same reading" in refused.json()["mend"]
    begun = volunteer.post(f"{V1}/punchings", json={"image": SHA, "acknowledged": True})
    assert (begun.status_code, begun.json()["code"]) == (409, "fixity-failed")

    assert upload(volunteer, TAPE).json()["decoding"]["fixity_failure"] is None

    assert volunteer.get(f"{V1}/images/{SHA}/frames").content == TAPE
    assert volunteer.get(f"{V1}/fixity").json()["failing"] == []
