"""`queues`: what needs somebody's help, at the command line."""

import json

from server.catalog.queues import QUEUES
from server.cli import main
from server.commands.console import DONE, REFUSED
from server.store.engine import make_engine
from tests import factories

PRIMES = [f"{10 * n} PRINT {n * n}" for n in range(1, 30)]


def fill(settings):
    engine = make_engine(settings)
    with factories.acting(engine) as work:
        factories.tape(work, accession_number="1979.1", place="Box 1")
        factories.upload(work, factories.text_tape(*PRIMES))
        factories.upload(work, factories.text_tape(*PRIMES, "300 END"))
    engine.dispose()


def test_all_queues_are_counted(archive, said):
    fill(archive)

    assert main(["queues"]) == DONE
    head, *lines = said().out.splitlines()
    assert head.split()[:2] == ["queue", "holds"]
    assert [line.split()[0] for line in lines] == list(QUEUES)
    assert lines[0].split()[1] == "1"
    assert main(["queues", "--json"]) == DONE
    assert [json.loads(line)["name"] for line in said().out.splitlines()] == list(QUEUES)


def test_one_queue_is_listed(archive, said, monkeypatch):
    fill(archive)

    assert main(["queues", "unread"]) == DONE
    told = said().out
    assert "1979.1" in told
    assert "Box 1" in told
    assert told.endswith("page 1 of 1, 1 tape\n")
    assert main(["queues", "kin-to-judge"]) == DONE
    assert "reading.bin and reading.bin" in said().out
    assert main(["queues", "unread", "--json"]) == DONE
    assert json.loads(said().out)["key"] == "1979.1"
    monkeypatch.setenv("FEEDHOLE_REPORT_YEARS", "1")
    assert main(["queues"]) == DONE
    assert "No condition report in a year" in said().out


def test_an_empty_queue_says_well_done_and_an_unknown_one_is_refused(archive, said):
    assert main(["queues", "unread"]) == DONE
    assert said().out.startswith("Well done")
    assert main(["queues", "nonsense"]) == REFUSED
    assert "no queue nonsense" in said().err
