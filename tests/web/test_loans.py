"""The pages of loans and of requests by demonstrators: each step by its form, without a script."""

import re
from datetime import date, timedelta

SOON = (date.today() + timedelta(days=9)).isoformat()  # noqa: DTZ011 - a day does not matter
TAPE = "1979.1"


def proposed(client, number=TAPE, **others):
    at = f"/tapes/{number}/loans"
    fields = {"borrower": "Museum", "purpose": "Open day", "due_on": SOON} | others
    return client.fill_in(at, **fields)


def step(client, loan, name, **fields):
    found = re.search(r'name="revision" value="(\d+)"', client.get(loan).text)
    assert found
    return client.fill_in(f"{loan}/{name}", seen_at=loan, **({"revision": found[1]} | fields))


def test_a_loan_is_proposed_approved_given_out_and_taken_back(volunteer, archivist, visitor):
    made = proposed(volunteer, contact="Their desk")
    loan = made.headers["location"]
    assert (made.status_code, "Give it out" in volunteer.get(loan).text) == (303, False)
    assert "Approve the loan" not in volunteer.get(loan).text
    assert step(archivist, loan, "approve").status_code == 303

    assert step(volunteer, loan, "give-out", state="good").status_code == 303
    assert "on loan" in visitor.get(f"/tapes/{TAPE}").text
    home = volunteer.get("/").text
    assert "Loans that are overdue, or due soon" in home
    assert "out, due in 9 days" in home
    assert "Museum" not in visitor.get("/").text

    done = step(volunteer, loan, "take-back", state="worn", place="Punch table")
    assert done.status_code == 303
    page = volunteer.get(loan).text
    assert re.search(r"worn: <a href=\"/condition-reports/\d+\">", page)
    assert "Punch table" in volunteer.get(f"/tapes/{TAPE}").text
    assert "Loans that are overdue" not in volunteer.get("/").text


def test_a_step_that_is_refused_says_why_beside_its_field(volunteer, archivist):
    assert proposed(volunteer, due_on="2001-01-01").status_code == 422
    loan = proposed(volunteer, "1979.3").headers["location"]
    assert "held apart for a hazard" in volunteer.get(loan).text

    refused = step(archivist, loan, "approve", reason="")
    assert refused.status_code == 409
    assert 'id="reason-wrong"' in refused.text
    assert re.search(rf'<input id="due_on"[^>]*value="{SOON}"', refused.text)
    assert "leaves the shelf only where an archivist" in refused.text
    assert step(archivist, loan, "approve", reason="To the conservator").status_code == 303
    without = step(volunteer, loan, "give-out", advice="Still in its bag")
    assert without.status_code == 422
    assert "Still in its bag" in without.text
    assert step(volunteer, loan, "approve", revision="1").status_code == 403


def test_two_who_lend_one_tape_are_told_apart(volunteer, archivist):
    loans = [proposed(volunteer).headers["location"] for _ in range(2)]
    for loan in loans:
        step(archivist, loan, "approve")
    assert step(volunteer, loans[0], "give-out", state="good").status_code == 303
    second = step(volunteer, loans[1], "give-out", state="good")
    assert (second.status_code, "lent already" in second.text) == (409, True)
    assert step(archivist, loans[0], "lose", why="Burnt").status_code == 303
    assert "missing" in volunteer.get(f"/tapes/{TAPE}").text


def test_the_other_ends_of_a_loan_each_have_a_form(volunteer, archivist):
    first, second = (proposed(volunteer).headers["location"] for _ in range(2))
    assert step(archivist, first, "extend", due_on=SOON, why="x").status_code == 303
    assert step(archivist, first, "refuse", why="Too far").status_code == 303
    assert step(volunteer, second, "withdraw", why="").status_code == 422
    assert step(volunteer, second, "withdraw", why="They did not call").status_code == 303
    assert "Too far" in volunteer.get(first).text
    assert volunteer.get("/loans?status=refused").text.count("/loans/") >= 1


def test_a_demonstrator_asks_for_a_program_and_is_handed_a_tape(volunteer, library):
    at = f"/requests/new?program={library.program}"
    fields = {"program": str(library.program), "tape": "", "purpose": "Kite day"}
    assert volunteer.fill_in("/requests/new", seen_at=at, wanted_on="", **fields).status_code == 422
    asked = volunteer.fill_in("/requests/new", seen_at=at, wanted_on=SOON, **fields)
    wanted = asked.headers["location"]
    queue = volunteer.get("/queues/requested").text
    assert f'href="{wanted}"' in queue
    assert "Kite day" in queue

    key = wanted.rpartition("/")[2]
    put = volunteer.fill_in("/queues/requested", tick=key, do="put-on")
    assert "1 entry put on your list" in put.text
    assert "Kites" in volunteer.fill_in("/queues/requested", tick=key, do="print").text
    assert wanted in volunteer.get("/queues/mine").text
    page = volunteer.get(wanted).text
    assert f"/images/{library.kites}/prepare" in page


def test_a_tape_is_handed_out_and_the_request_is_settled(volunteer):
    at = "/requests/new?tape=1979.6"
    fields = {"tape": "1979.6", "program": "", "wanted_on": SOON, "purpose": "Kite day"}
    wanted = volunteer.fill_in("/requests/new", seen_at=at, **fields).headers["location"]

    def send(name, **fields):
        return volunteer.fill_in(f"{wanted}/{name}", seen_at=wanted, revision="1", **fields)

    assert send("hand-out", tape="", place="Table").status_code == 422
    assert send("hand-out", tape="1979.6", place="").status_code == 422
    assert send("punched", punching="1").status_code == 422
    assert send("hand-out", tape="1979.6", place="Show table").status_code == 303
    assert "Show table" in volunteer.get("/tapes/1979.6").text
    assert "Handed out" in volunteer.get(wanted).text
    assert send("withdraw").status_code in (409, 412)


def test_loans_and_requests_are_for_those_who_work_here(visitor, library):
    for path in ("/loans", f"/loans/{library.loan}", "/requests", f"/requests/{library.request}"):
        assert visitor.get(path).status_code in (303, 401)
    assert "The open day" not in visitor.get("/queues/requested").text
    assert "Ask for it" not in visitor.get(f"/programs/{library.program}").text
