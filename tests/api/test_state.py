"""The state of the library over JSON."""

from tests.api.conftest import V1
from tests.api.tapes_to_read import ORCHARD, text_tape


def test_anybody_sees_the_state_of_the_library(visitor, volunteer):
    assert visitor.get(f"{V1}/state").json()["tapes"] == 0
    volunteer.post(f"{V1}/tapes", json={"title": "Orchard", "accession_number": "1978.12"})
    sent = {"files": {"file": ("a.bin", text_tape(ORCHARD))}, "data": {"tape": "1978.12"}}
    volunteer.post(f"{V1}/images", **sent)
    told = visitor.get(f"{V1}/state").json()

    assert {each["name"]: each["count"] for each in told["shares"]}["read"] == 1
    assert {each["name"]: each["total"] for each in told["work"]}["entered"] == 1
    assert all(len(each["months"]) == 12 for each in told["work"])


def test_a_year_that_is_none_is_refused(visitor):
    assert visitor.get(f"{V1}/state", params={"year": "soon"}).status_code == 422
