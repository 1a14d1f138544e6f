"""The page on the state of the library: bars and plots with the numbers beside them."""

import re

from server.catalog.state import Series
from server.web.state import BASE, TALLEST, bars


def test_shares_are_told_in_words_and_numbers(visitor):
    page = visitor.get("/state").text

    for told in ("Read: ", "Verified: ", "Described: ", "Looked at: ", "In danger: "):
        assert told in page
    read, of = re.findall(r"Read: [\d.]+ %</b> <span>(\d+) of (\d+)</span>", page)[0]
    assert 0 < int(read) < int(of)
    assert "unread" in page


def test_the_table_beside_the_plots_holds_what_they_show(volunteer, visitor):
    report = {"checked_on": "2024-05-20", "state": "good", "reason": "schedule", "method": "by eye"}
    volunteer.fill_in("/tapes/1979.1/condition/new", **report)
    page = visitor.get("/state?year=2024").text
    row = re.findall(r'<tr><th scope="row">May</th>(.*?)</tr>', page)[0]

    assert re.findall(r"<td>(\d+)</td>", row) == ["0", "0", "0", "1", "0"]
    assert "Condition reports: 1" in page
    assert page.count('<rect class="plot-bar"') == 1
    assert 'aria-current="true">2024' in page


def test_bars_are_as_tall_as_their_months_were_busy():
    drawn = bars(Series("x", "X", "x", (0, 5, 10, *[0] * 9)))

    assert [each.height for each in drawn[:3]] == [0, TALLEST / 2, TALLEST]
    assert all(each.y + each.height == BASE for each in drawn)
    assert {each.height for each in bars(Series("x", "X", "x", (0,) * 12))} == {0}


def test_the_first_page_leads_there(visitor):
    assert 'href="/state"' in visitor.get("/").text
