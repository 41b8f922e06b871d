import os
import sys

import pytest

from twinangle.parallel import Workers, in_order
from twinangle.platform_calls import start_method


def square(number):
    return number**2


def process_id(_):
    return os.getpid()


def fail(number):
    raise ValueError(f"no {number}")


@pytest.mark.parametrize("jobs", [1, 2])
def test_results_come_in_the_order_of_the_items(jobs):
    with Workers(jobs) as workers:
        assert list(workers.in_order(square, range(7))) == [k**2 for k in range(7)]
        assert list(workers.in_order(square, [])) == []  # and the workers serve a second task
    assert list(in_order(square, range(5), jobs=jobs)) == [0, 1, 4, 9, 16]


def test_one_job_needs_no_other_process():
    assert set(in_order(process_id, range(3), jobs=1)) == {os.getpid()}
    assert os.getpid() not in set(in_order(process_id, range(3), jobs=2))


@pytest.mark.parametrize("jobs", [1, 2])
def test_a_fault_reaches_the_caller(jobs):
    with Workers(jobs) as workers, pytest.raises(ValueError, match="no 3"):
        list(workers.in_order(fail, [3]))


def test_fewer_than_one_job_is_refused():
    with pytest.raises(ValueError, match="at least 1, got 0"):
        Workers(0)


def test_renewed_processes_hold_what_was_imported_meanwhile(monkeypatch):
    name = "twinangle_invented_module"
    with Workers(2) as workers:
        assert list(workers.in_order(_is_loaded, [name, name])) == [False, False]
        monkeypatch.setitem(sys.modules, name, sys)
        workers.renew()
        assert set(workers.in_order(_is_loaded, [name, name])) == {start_method() == "fork"}


def _is_loaded(name: str) -> bool:
    return name in sys.modules


class Changed:
    """Becomes a text on its way to another process."""

    def __reduce__(self):
        return str, ("sent",)


@pytest.mark.parametrize("jobs", [1, 2])
def test_renewed_processes_hold_a_value_in_place_of_being_sent_it(jobs):
    value = Changed()
    sent, forked = ("str" if jobs > 1 else "Changed"), start_method() == "fork"
    with Workers(jobs) as workers:
        assert set(workers.in_order(_kind, [workers.held(value)] * 2)) == {sent}
        workers.renew(value)
        for _ in range(2):
            kinds = set(workers.in_order(_kind, [workers.held(value)] * 2))
            assert kinds == {"Changed" if forked else sent}
        workers.renew()
        assert set(workers.in_order(_kind, [workers.held(value)] * 2)) == {sent}


def _kind(value):
    return type(value).__name__
