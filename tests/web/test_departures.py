"""The page of a tape that left, for each role, and the way out and back over the forms."""

LEAVES = {
    "decided_on": "2026-11-02",
    "authority": "Meeting of November",
    "reason": "We have three more.",
    "method": "given away",
    "recipient": "The school",
    "note": "Letter in the box file.",
}
FORM, PAGE = "/tapes/1979.4/deaccession", "/tapes/1979.4"


def test_tape_leaves_over_the_form_and_its_page_says_that_it_is_gone(archivist, visitor, library):
    assert FORM in archivist.get(PAGE).text
    sent = archivist.fill_in(FORM, **LEAVES)
    assert (sent.status_code, sent.headers["Location"]) == (303, PAGE)

    gone = visitor.get(PAGE)
    assert gone.status_code == 410
    assert "left the collection on 2026-11-02: given away" in gone.text
    assert "We have three more." in gone.text
    assert "Monitor patch" in gone.text
    assert "The school" not in gone.text
    assert "Letter in the box file" not in gone.text
    assert "reaccession" not in gone.text
    assert "Letter in the box file" in archivist.get(PAGE).text
    assert visitor.get(f"/images/{library.hex}").status_code == 200
    assert "1979.4" not in visitor.get("/tapes").text
    assert "1979.4" in visitor.get("/tapes?departed=only").text


def test_api_says_gone_to_visitors_and_the_record_to_members(archivist, visitor, volunteer):
    archivist.fill_in(FORM, **LEAVES)
    address = "/api/v1/tapes/1979.4"

    gone = visitor.get(address)
    assert (gone.status_code, gone.json()["code"]) == (410, "gone")
    assert volunteer.get(address).json()["deaccessioned_on"] == "2026-11-02"
    (told,) = visitor.get(f"{address}/deaccessions").json()
    assert (told["method"], told["recipient"], told["note"]) == ("given away", None, None)


def test_what_is_missing_is_said_beside_its_field(archivist):
    refused = archivist.fill_in(FORM, **LEAVES | {"authority": "", "method": ""})

    assert refused.status_code == 422
    assert 'id="authority-wrong"' in refused.text
    assert 'id="method-wrong"' in refused.text
    assert "We have three more." in refused.text


def test_tape_that_left_comes_back_over_the_form(archivist, visitor):
    archivist.fill_in(FORM, **LEAVES)
    refused = archivist.fill_in("/tapes/1979.4/reaccession", seen_at=PAGE, why="")
    assert refused.status_code == 422

    archivist.fill_in("/tapes/1979.4/reaccession", seen_at=PAGE, why="The school closed.")
    assert visitor.get(PAGE).status_code == 200
