"""The pages of places: moved by forms, without a script."""

import re


def test_tapes_that_are_ticked_are_moved_together(volunteer, library):
    at = f"/places/{library.place}"
    moved = volunteer.fill_in(
        at, tick=["1979.6"], do="move", written="Punch table", why="For Saturday"
    )
    assert (moved.status_code, moved.headers["location"]) == (303, at)

    page = volunteer.get("/tapes/1979.6").text
    assert re.search(r'<a href="/places/\d+">Punch table</a>', page)
    assert re.search(r'belongs to <a href="/places/\d+">Loft, shelf 2, box 5</a>', page)
    assert "For Saturday" in volunteer.get(at).text
    assert "They belong here, and are elsewhere" in volunteer.get(at).text
    assert "Punch table" in volunteer.get("/movements?tape=1979.6").text


def test_a_tape_that_is_missing_is_told_so_wherever_it_is_listed(volunteer, visitor, library):
    volunteer.fill_in(f"/places/{library.place}", tick=["1979.6"], do="missing", why="Not there")

    assert "1 tape missing" in volunteer.get("/places").text
    assert "missing" in visitor.get("/tapes/1979.6").text
    assert "1979.6" in visitor.get("/tapes?place=missing").text
    form = volunteer.get("/tapes/1979.6/move").text
    assert "It is missing" not in form
    found = volunteer.fill_in("/tapes/1979.6/move", written="loft, shelf 2, box 5", do="move")
    assert found.status_code == 303
    assert "missing" not in volunteer.get("/places").text


def test_what_is_refused_is_said_and_the_form_kept(volunteer, library):
    at = f"/places/{library.place}"
    for fields, told in (
        ({"do": "move", "written": "Attic, box 1"}, "Nothing is ticked."),
        ({"do": "move", "tick": "1979.6", "why": "Why not"}, "write the place, as room, shelf"),
    ):
        answer = volunteer.fill_in(at, **fields)
        assert answer.status_code == 422
        assert told in answer.text
        assert str(fields.get("written") or fields["why"]) in answer.text
    answer = volunteer.fill_in(f"{at}/inside", seen_at=at, inner="a, b", inner_kind="box")
    assert "leave the comma out" in answer.text
    answer = volunteer.fill_in(f"{at}/move", seen_at=at, parent="Nowhere", revision="1")
    assert "no place is written so" in answer.text


def test_a_place_is_entered_moved_renamed_and_closed(volunteer, archivist, library):
    made = volunteer.fill_in("/places", name="Cellar", kind="room", note="Damp in March")
    cellar = made.headers["location"]
    inner = volunteer.fill_in(f"{cellar}/inside", seen_at=cellar, inner="Tin", inner_kind="box")
    tin = inner.headers["location"]
    assert "Damp in March" in volunteer.get("/places").text

    shelf = f"/places/{library.place}"
    moved = volunteer.fill_in(
        f"{shelf}/move", seen_at=shelf, parent="cellar", why="Roof leaks", revision="1"
    )
    assert moved.status_code == 303
    assert "Cellar, shelf 2, box 5" in volunteer.get("/tapes/1979.6").text
    stale = volunteer.fill_in(f"{shelf}/move", seen_at=shelf, parent="", revision="1")
    assert stale.status_code == 412

    renamed = archivist.fill_in(
        f"{cellar}/change", seen_at=cellar, name="Vault", kind="room", revision="1"
    )
    assert renamed.status_code == 303
    assert "Vault, shelf 2, box 5" in volunteer.get("/tapes/1979.6").text
    assert volunteer.fill_in(f"{tin}/close", seen_at=tin).status_code == 403
    assert archivist.fill_in(f"{tin}/close", seen_at=tin, do="close").status_code == 303
    assert "Take it into use again" in archivist.get(tin).text
    assert archivist.fill_in(f"{tin}/close", seen_at=tin, do="reopen").status_code == 303


def test_the_list_to_print_names_what_is_there_and_what_is_away(volunteer, library):
    at = f"/places/{library.place}"
    assert "Unread tape" in volunteer.get(f"{at}/list").text
    volunteer.fill_in("/tapes/1979.6/move", written="Punch table", do="move")

    page = volunteer.get(f"{at}/list").text
    assert "0 tapes." in page
    assert "1979.6 Unread tape: Punch table" in page


def test_places_are_for_those_who_work_here(visitor, library):
    assert 'href="/places"' not in visitor.get("/").text
    for path in ("/places", f"/places/{library.place}", "/movements"):
        assert visitor.get(path).status_code in (303, 401)
    assert "/places/" not in visitor.get("/tapes/1979.6").text
