"""The command that shows what the intervals hold, and that its name harms no import."""

import subprocess
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).resolve().parents[2] / "benchmarks"


def run(*arguments):
    return subprocess.run(
        [sys.executable, *arguments], capture_output=True, text=True, timeout=120, check=False
    )


def test_a_section_is_printed_with_its_monte_carlo_error():
    done = run(FOLDER / "coverage.py", "--studies", "4", "--only", "serial correlation 0.5")
    assert done.returncode == 0, done.stderr
    assert "MC error" in done.stdout
    assert done.stdout.count("participants") >= 9


def test_numba_can_be_imported_beside_it():
    code = f"import sys; sys.path.insert(0, {str(FOLDER)!r}); import numba, numba.core.dispatcher"
    done = run("-c", code)
    assert done.returncode == 0, done.stderr


def test_it_is_not_the_package_of_its_name():
    code = f"import sys; sys.path.insert(0, {str(FOLDER)!r}); import coverage"
    done = run("-c", code)
    assert "not the package `coverage`" in done.stderr


@pytest.mark.nightly
def test_numbers_do_not_depend_on_the_processes():
    command = (FOLDER / "coverage.py", "--studies", "10", "--only", "test and retest", "--jobs")
    one, two = (
        [line for line in run(*command, jobs).stdout.splitlines() if "participants" in line]
        for jobs in "12"
    )
    assert len(one) == 3
    assert one == two
