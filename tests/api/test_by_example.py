"""Search for bytes over JSON: places count cells of the machine."""

from tests.api.conftest import V1
from tests.catalog.test_byte_by_byte import bin12

WORDS = [0o7300, 0o1234, *range(0o100, 0o130), 0o4321, 0o5776]


def test_a_place_in_words_is_the_address_of_the_word(volunteer, visitor):
    volunteer.post(f"{V1}/images", files={"file": ("a", bin12(0o300, WORDS))})
    asked = {"bytes": "D1 0B", "where": "memory"}
    (hit,) = visitor.get(f"{V1}/search/bytes", params=asked).json()["hits"]
    (place,) = hit["places"]
    example = visitor.post(f"{V1}/search/by-example", json={"bytes": "D1 0B"}).json()
    assert (hit["notation"], hit["cell_bytes"]) == ("octal", 2)
    assert (place["at"], place["found"]) == (0o332, "08 D1 0B FE")
    assert example["memory"]["hits"] == [hit]
