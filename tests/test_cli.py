"""The command line as a whole: it says what it can do, and stops as it should."""

import os
import subprocess
import sys
from pkgutil import resolve_name

import pytest

from server.cli import main, parser
from server.commands.console import DONE


def commands():
    def leaves(found):
        for action in found._actions:
            if action.choices and hasattr(action.choices, "values"):
                for each in action.choices.values():
                    yield from leaves(each)
        if "run" in found._defaults:
            yield found

    return list(leaves(parser()))


@pytest.mark.parametrize("command", commands(), ids=lambda each: each.prog)
def test_every_command_has_something_to_run_and_says_what_it_is_for(command):
    assert callable(resolve_name(command._defaults["run"]))
    assert command.description


@pytest.fixture
def reel(tmp_path):
    path = tmp_path / "reel.bin"
    path.write_bytes(b"10 PRINT\r\n20 END\r\n")
    return str(path)


def test_whoever_reads_the_output_may_stop(reel):
    read, write = os.pipe()
    os.close(read)
    process = subprocess.run(
        [sys.executable, "-m", "server", "inspect", reel],
        stdout=write,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    os.close(write)

    assert (process.returncode, process.stderr) == (DONE, "")


def test_a_command_that_is_stopped_says_so(reel, monkeypatch, capsys):
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("server.commands.inspect.decode", stop)

    assert main(["inspect", reel]) == 130
    assert capsys.readouterr().err == "Stopped.\n"
