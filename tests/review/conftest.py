"""One small study under a page's session, for all tests of the server."""

import sys
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from asking import PORT, TOKEN
from walks import write_walks

from twinangle.review.server import build_app
from twinangle.review.session import Session
from twinangle.study import read_bare_study


def wait_for(session: Session, seconds: float = 60.0) -> None:
    """Wait until every recording is analysed with the decisions that stand."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        told = session.overview()
        rows = told["recordings"]
        if told["ready"] == len(rows) and not any(row["again"] for row in rows):
            return
        time.sleep(0.05)
    raise AssertionError("the recordings were not analysed in time")


@pytest.fixture(scope="module")
def study_file(tmp_path_factory):
    return write_walks(tmp_path_factory.mktemp("walks"))


@pytest.fixture(scope="module")
def session(study_file):
    made = Session(read_bare_study(study_file), who="R1", blind=False)
    made.begin()
    wait_for(made)
    yield made
    made.end()


@pytest.fixture(scope="module")
def stopped():
    return []


@pytest.fixture(scope="module")
def app(session, stopped):
    return build_app(session, token=TOKEN, port=PORT, stop=lambda: stopped.append(True))


@pytest.fixture
def waiting():
    return wait_for
