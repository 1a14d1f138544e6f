"""kill -9 at any moment of a pass over the library: another process goes on and comes to the same.

The engine writes down each step that is done, so that no more than the one that was interrupted
is done again.
"""

from sqlalchemy import Engine, delete
from sqlalchemy.orm import Session

from server.jobs.background import Background
from server.jobs.state import Pass, Standing
from server.settings import Settings
from server.store.kin import Fingerprint, Kinship
from tests.faults.killed_pass import killed_beyond
from tests.jobs.test_kin_pass import fill, state
from tests.jobs.waiting import until_over

FINDER = "tests.faults.kin_finder"
KILLS = 3


def test_a_pass_killed_again_and_again_comes_to_what_an_undisturbed_one_comes_to(
    engine: Engine, settings: Settings
):
    fill(engine, families=8)
    undisturbed = state(engine)
    with Session(engine) as session, session.begin():
        session.execute(delete(Kinship))
        session.execute(delete(Fingerprint))

    reached, far = [], 0
    for _ in range(KILLS):
        far = killed_beyond(FINDER, [settings.database_url], far, longest=0.05)
        reached.append(far)
    assert reached == sorted(set(reached)), "it began again from the beginning"
    assert state(engine) != undisturbed

    # A worker, started as the application starts one, takes it up.
    with Background(settings) as background:
        done = until_over(background, Pass.KIN)

    assert (done.standing, done.by) == (Standing.DONE, "finder")
    assert done.result == {"images": 25, "pairs": len(undisturbed["kinship"])}
    assert (done.progress.done, done.progress.of) == (75, 75)
    assert state(engine) == undisturbed
