"""Waiting for background work to come to its end."""

import time

import pytest

from server.jobs.background import Background
from server.jobs.state import Pass, PassState

LONGEST_SECONDS = 60


def until_over(works: Background, kind: Pass) -> PassState:
    """How the newest pass of that kind stands once it is over."""
    until = time.monotonic() + LONGEST_SECONDS
    while time.monotonic() < until:
        found = works.last_pass(kind)
        if found is not None and found.standing.is_over:
            return found
        time.sleep(0.05)
    pytest.fail("the pass never came to its end")
