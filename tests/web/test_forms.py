"""Forms: what they change, and what they say when they cannot."""

import re

from server.tape.image import FRAME_PITCH_MM


def test_describing_and_changing_a_tape(volunteer):
    made = volunteer.fill_in("/tapes/new", title="Wind rose", accession_number="", levels="8")
    path = made.headers["location"]
    changed = volunteer.fill_in(
        f"{path}/edit", title="Wind rose, mended", revision="1", place="Shelf 9", program=""
    )
    page = volunteer.get(path).text

    assert (made.status_code, changed.status_code) == (303, 303)
    assert "Wind rose, mended" in page
    assert "Shelf 9" in page


def test_a_number_that_is_taken_is_said_beside_its_field(volunteer):
    response = volunteer.fill_in("/tapes/new", title="Second", accession_number="1979.1")

    assert response.status_code == 409
    assert "<title>Error: " in response.text
    assert 'href="#accession_number"' in response.text
    assert 'value="Second"' in response.text


def test_a_stale_change_is_refused_and_keeps_what_was_typed(volunteer):
    volunteer.fill_in("/tapes/1979.1/edit", title="Kites", revision="1", place="Shelf 1")
    response = volunteer.fill_in("/tapes/1979.1/edit", title="Mine", revision="1", place="Shelf 2")

    assert response.status_code in {409, 412}
    assert 'value="Mine"' in response.text
    assert "Shelf 1" in volunteer.get("/tapes/1979.1").text


def test_a_condition_report_with_its_defects(volunteer):
    response = volunteer.fill_in(
        "/tapes/1979.1/condition/new",
        checked_on="2026-01-05",
        state="worn",
        reason="schedule",
        method="by eye",
        hazard="none",
        machine_readable="true",
        advice="Slowly.",
        **{
            "defects.0.kind": "",
            "defects.0.severity": "slight",
            "defects.2.kind": "tear",
            "defects.2.severity": "moderate",
            "defects.2.position_mm": "254",
            "defects.2.note": "at the edge",
        },
    )
    page = volunteer.get(response.headers["location"]).text

    assert response.status_code == 303
    assert "tear" in page
    assert f"about frame {round(254 / FRAME_PITCH_MM)}" in page
    assert "10.0 in" in page
    assert ">yes<" in page


def test_a_report_that_cannot_be_taken_keeps_all_rows(volunteer):
    response = volunteer.fill_in(
        "/tapes/1979.1/condition/new",
        checked_on="2026-01-05",
        state="worn",
        **{
            "defects.1.kind": "tear",
            "defects.1.severity": "moderate",
            "defects.1.position_mm": "far along",
            "defects.3.kind": "mould",
            "defects.3.severity": "slight",
        },
    )

    assert response.status_code == 422
    assert 'value="far along"' in response.text
    assert 'href="#defects-0-position_mm"' in response.text
    assert len(re.findall(r'<option value="(?:tear|mould)" selected>', response.text)) == 2


def test_a_hazard_puts_the_tape_in_quarantine_with_cautions(volunteer):
    volunteer.fill_in(
        "/tapes/1979.2/condition/new",
        checked_on="2026-01-05",
        state="unfit for a reader",
        hazard="mould suspected",
    )
    page = volunteer.get("/tapes/1979.2").text

    assert "in quarantine" in page
    assert "conservator" in page
    assert "Local codes" in page


def test_only_who_may_amend_a_report_is_offered_its_form(volunteer, archivist, library):
    theirs = f"/condition-reports/{library.report}"
    sent = volunteer.fill_in("/tapes/1979.2/condition/new", checked_on="2026-03-02", state="good")
    own = sent.headers["location"]
    offered = [f'href="{path}/edit"' in volunteer.get(path).text for path in (theirs, own)]

    assert offered == [False, True]
    assert [volunteer.get(f"{path}/edit").status_code for path in (theirs, own)] == [403, 200]
    assert [archivist.get(f"{path}/edit").status_code for path in (theirs, own)] == [200, 200]


def test_amending_a_report(archivist, library):
    path = f"/condition-reports/{library.report}"
    response = archivist.fill_in(
        f"{path}/edit",
        revision="1",
        checked_on="2026-03-02",
        state="fragile",
        hazard="mould suspected",
        **{"defects.0.kind": "mould", "defects.0.severity": "slight"},
    )

    assert response.headers["location"] == path
    assert "amended 1 time" in archivist.get(path).text


def test_an_archivist_vouches_for_an_image_and_it_is_verified(archivist, library):
    response = archivist.fill_in(f"/images/{library.kites}/proof-read", note="Against the print.")
    page = archivist.get(f"/images/{library.kites}").text

    assert response.status_code == 303
    assert "proof-read" in page
    assert "Against the print." in page
    assert "Download to punch" in page


def test_the_form_of_a_tape_names_its_program_and_takes_another_by_title(archivist, library):
    archivist.fill_in("/programs/new", title="Lanterns")
    path = "/tapes/1979.6"
    first = archivist.fill_in(f"{path}/edit", title="Unread", revision="1", program="kites")
    shown = archivist.get(f"{path}/edit").text
    wrong = archivist.fill_in(f"{path}/edit", title="Unread", revision="2", program="Lantern")

    assert first.headers["location"] == path
    assert f'value="Kites (no. {library.program})" autocomplete' in shown
    assert '<option value="Lanterns (no. ' in shown
    assert wrong.status_code == 422
    assert "no program is called so" in wrong.text
    assert 'value="Lantern" autocomplete' in wrong.text


def test_an_image_becomes_a_version_of_a_held_program(archivist, library):
    response = archivist.fill_in(
        f"/images/{library.hex}/version", program="Kites", label="third", program_title="ignored"
    )

    assert response.headers["location"] == f"/programs/{library.program}"


def test_an_image_becomes_a_version_of_a_new_program(archivist, library):
    response = archivist.fill_in(
        f"/images/{library.hex}/version", program="", program_title="Patch", label="1", note="n"
    )
    page = archivist.get(response.headers["location"]).text

    assert response.status_code == 303
    assert "Patch" in page
    assert "Version 1" in page


def test_a_version_without_a_label_is_refused_and_makes_no_program(archivist, library):
    response = archivist.fill_in(f"/images/{library.hex}/version", program_title="Patch", label="")

    assert response.status_code == 422
    assert "Patch" not in archivist.get("/programs").text


def test_entering_and_changing_a_program(archivist):
    made = archivist.fill_in("/programs/new", title="Wind rose", language="BASIC")
    path = made.headers["location"]
    changed = archivist.fill_in(
        f"{path}/edit", title="Wind rose 2", revision="1", machine="8080 machine"
    )

    assert changed.headers["location"] == path
    assert "Wind rose 2" in archivist.get(path).text


def test_a_token_is_shown_once(volunteer):
    response = volunteer.fill_in(
        "/account/tokens", seen_at="/account", label="my script", scopes="read"
    )
    token = re.findall(r'<code class="digest">([^<]+)</code>', response.text)[0]

    assert token not in volunteer.get("/account").text
    assert "my script" in volunteer.get("/account").text


def test_a_token_can_be_revoked(volunteer):
    volunteer.fill_in("/account/tokens", seen_at="/account", label="my script", scopes="read")
    revoke = re.findall(r"/account/tokens/\d+/revoke", volunteer.get("/account").text)[0]
    volunteer.fill_in(revoke, seen_at="/account")

    page = volunteer.get("/account").text
    assert "<b>my script</b>" not in page
    assert "token my script revoked" in page


def test_a_token_for_nothing_is_refused_and_the_label_kept(volunteer):
    refused = volunteer.fill_in("/account/tokens", seen_at="/account", label="my script")

    assert refused.status_code == 422
    assert 'value="my script"' in refused.text
    assert "choose at least one of read, upload" in refused.text


def test_a_new_password_must_be_a_good_one(volunteer):
    response = volunteer.fill_in(
        "/account/password", seen_at="/account", old="eleven plum velvet anvils", new="short"
    )

    assert response.status_code == 422


def test_a_new_password_ends_every_sign_in(volunteer):
    response = volunteer.fill_in(
        "/account/password",
        seen_at="/account",
        old="eleven plum velvet anvils",
        new="nineteen pewter herons",
    )

    assert response.status_code == 303
    assert volunteer.get("/account").status_code == 303


def path_of(name, administrator):
    """The page of somebody in the list of people."""
    (number,) = re.findall(
        rf'<a href="/people/(\d+)">{name}</a>', administrator.get("/people").text
    )
    return f"/people/{number}"


def test_an_administrator_keeps_the_people(administrator):
    made = administrator.fill_in(
        "/people",
        name="wren",
        display_name="Wren",
        role="volunteer",
        password="seven copper lanterns",
    )
    path = path_of("Wren", administrator)
    administrator.fill_in(path, change="role", role="archivist")
    administrator.fill_in(path, change="disable")
    shut_out = administrator.get("/people").text
    administrator.fill_in(path, change="enable")

    assert made.status_code == 303
    assert "shut out" in shut_out
    assert "shut out" not in administrator.get("/people").text
    for told in (
        "account made with the role volunteer",
        "from volunteer to archivist",
        "account disabled",
        "account enabled",
        "Pat the administrator",
    ):
        assert told in administrator.get(path).text


def test_a_forgotten_password_is_replaced_by_an_administrator(administrator, visitor):
    new = "seven quiet turnstiles"
    path = path_of("Pat the volunteer", administrator)
    short = administrator.fill_in(path, change="password", password="x")
    taken = administrator.fill_in(path, change="password", password=new)
    signed_in = visitor.fill_in("/sign-in", name="volunteer-1", password=new)

    assert (short.status_code, taken.status_code) == (422, 303)
    assert (signed_in.status_code, signed_in.headers["location"]) == (303, "/")


def test_the_last_administrator_stays(administrator):
    path = path_of("Pat the administrator", administrator)
    response = administrator.fill_in(path, change="disable")
    nonsense = administrator.fill_in(path, role="emperor")

    assert (response.status_code, nonsense.status_code) == (409, 422)


def test_light_or_dark_is_remembered_without_a_script(visitor):
    response = visitor.fill_in("/appearance", theme="dark", back="/tapes")
    page = visitor.get("/tapes").text
    visitor.fill_in("/appearance", theme="", back="/tapes")

    assert response.headers["location"] == "/tapes"
    assert '<html lang="en" data-theme="dark">' in page
    assert '<html lang="en">' in visitor.get("/tapes").text


def test_an_archivist_ends_a_quarantine_only_after_a_report_without_hazard(archivist):
    early = archivist.fill_in("/tapes/1979.3/release", seen_at="/tapes/1979.3", note="looks dry")

    assert early.status_code == 409
    assert "Nothing" in early.text or "hazard" in early.text


def test_a_word_that_is_not_merged_keeps_its_spelling_in_the_other_form(archivist):
    page = archivist.get("/vocabularies/colour").text
    path, word = re.findall(r'href="(/vocabularies/colour/words/\d+)">([^<]+)<', page)[0]
    refused = archivist.fill_in(path, do="merge", merged_into="no such word", revision="1")

    assert refused.status_code == 422
    assert re.search(rf'<input id="word"[^>]*value="{word}"', refused.text)
