"""Machine code on disk is used again as long as nothing it was made from has changed."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import twinangle

PACKAGE = Path(twinangle.__file__).parent
HELPER = "wearable/kalman/field.py"
# A kernel of one module that calls one of another, with its result, and where its code came from.
CALL = """
import numpy as np
from twinangle.wearable.kalman import KalmanParameters, passes
from twinangle.wearable.kalman.parameters import constants
row = np.ones(passes.COLUMNS)
out = passes.running_stay(np.zeros(7), row, True, np.ones(3), constants(KalmanParameters()))
print(out, bool(passes.running_stay.stats.cache_hits))
"""


@pytest.fixture
def package(tmp_path):
    """A copy of the package without anything compiled."""
    shutil.copytree(
        PACKAGE, tmp_path / "twinangle", ignore=shutil.ignore_patterns("__pycache__", "*.nb?")
    )
    return tmp_path / "twinangle"


def _started(package, **environment):
    clean = {key: value for key, value in os.environ.items() if not key.startswith("NUMBA")}
    return subprocess.Popen(
        [sys.executable, "-c", CALL],
        env={**clean, "PYTHONPATH": str(package.parent), **environment},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def _told(process):
    out, err = process.communicate()
    assert process.returncode == 0, err
    number, from_disk = out.split()
    return float(number), from_disk == "True"


def _edit_helper(package):
    path = package / HELPER
    text = path.read_text(encoding="utf-8")
    changed = text.replace("longest = np.exp(-duration / c.rest)", "longest = 0.25")
    assert changed != text
    path.write_text(changed, encoding="utf-8")


def test_an_edited_helper_changes_the_number(package):
    first, from_disk = _told(_started(package))
    assert not from_disk
    assert _told(_started(package)) == (first, True)
    _edit_helper(package)
    assert _told(_started(package)) == (0.25, False)


@pytest.mark.nightly
def test_processes_side_by_side_compile_the_same(package):
    both = [_started(package) for _ in range(2)]
    first, second = (_told(process) for process in both)
    assert first[0] == second[0]
    assert _told(_started(package)) == (first[0], True)


def test_where_the_package_cannot_be_written_the_users_cache_is_chosen(tmp_path, monkeypatch):
    from twinangle import kernels

    package = tmp_path / "made"
    _write(package, {"a.py": "", "__pycache__": "no folder can be made here"})
    monkeypatch.setattr(kernels, "PACKAGE", package)
    monkeypatch.setattr(kernels, "digest", lambda _: "0123")
    monkeypatch.setattr(kernels, "user_cache", lambda: tmp_path / "home")
    monkeypatch.setattr(kernels.numba.config, "CACHE_DIR", "")
    folder = kernels.cache_folder(package / "a.py")
    assert folder == tmp_path / "home/made/kernels-0123"
    assert folder.is_dir()


def test_a_cache_that_may_not_be_looked_into_is_passed_by(tmp_path, monkeypatch):
    from twinangle import kernels

    stat, package = Path.stat, tmp_path / "made"
    _write(package, {"a.py": ""})

    def refused(path, **how):
        if path.is_relative_to(tmp_path / "of another user"):
            raise PermissionError(13, "Permission denied")
        return stat(path, **how)

    monkeypatch.setattr(kernels, "PACKAGE", package)
    monkeypatch.setattr(kernels, "digest", lambda _: "0123")
    roots = [tmp_path / "of another user", tmp_path / "own"]
    monkeypatch.setattr(kernels, "_roots", lambda: roots)
    monkeypatch.setattr(Path, "stat", refused)
    assert kernels.cache_folder(package / "a.py") == tmp_path / "own/kernels-0123"


@pytest.mark.nightly
def test_a_package_that_cannot_be_written_uses_the_users_cache(package, tmp_path):
    (package / "__pycache__").write_text("no folder can be made here")
    home = {
        name: str(tmp_path / "home")
        for name in ("HOME", "USERPROFILE", "LOCALAPPDATA", "XDG_CACHE_HOME")
    }
    number, _ = _told(_started(package, **home))
    assert _told(_started(package, **home)) == (number, True)
    assert list((tmp_path / "home").rglob("*.nbi"))


@pytest.mark.nightly
def test_without_any_folder_the_code_is_compiled_each_time(package, tmp_path):
    (package / "__pycache__").write_text("no folder can be made here")
    (tmp_path / "home").write_text("nor here")
    home = {
        name: str(tmp_path / "home")
        for name in ("HOME", "USERPROFILE", "LOCALAPPDATA", "XDG_CACHE_HOME")
    }
    assert not _told(_started(package, **home))[1]
    assert not _told(_started(package, **home))[1]


def _write(package, files):
    for name, text in files.items():
        path = package / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")


def test_imports_are_followed_through_modules(tmp_path):
    from twinangle.kernels import digest, reached

    package = tmp_path / "made"
    _write(
        package,
        {
            "__init__.py": "",
            "a.py": "import numpy\nfrom made.sub.b import f\n",
            "sub/__init__.py": "",
            "sub/b.py": "from . import c\nfrom ..d import N\n",
            "sub/c.py": "def g():\n    import made.e\n",
            "d.py": "N = 1\n",
            "e.py": "",
            "other.py": "",
        },
    )
    names = {path.relative_to(package).as_posix() for path in reached(package / "a.py", package)}
    assert {"a.py", "sub/b.py", "sub/c.py", "d.py", "e.py"} <= names
    assert "other.py" not in names
    before = digest(package / "a.py", package)
    _write(package, {"other.py": "M = 2\n"})
    assert digest(package / "a.py", package) == before
    _write(package, {"d.py": "N = 2\n"})
    assert digest(package / "a.py", package) != before


def test_a_module_without_source_is_not_kept():
    from twinangle.kernels import cache_folder

    assert cache_folder(PACKAGE / "wearable" / "gone.py") is None


def test_the_version_of_the_compiler_is_part_of_the_key(monkeypatch):
    from twinangle import kernels

    before = kernels.digest(PACKAGE / HELPER)
    monkeypatch.setattr(kernels.numba, "__version__", "0.0")
    assert kernels.digest(PACKAGE / HELPER) != before


def test_only_the_folders_used_last_are_kept(tmp_path):
    from twinangle.kernels import sweep

    for age in range(5):
        folder = tmp_path / f"kernels-{age}"
        folder.mkdir()
        (folder / "code.nbc").write_text("x")
        os.utime(folder, (1_000_000 - age, 1_000_000 - age))
    (tmp_path / "not-ours").mkdir()
    sweep(tmp_path, keep=2)
    left = sorted(path.name for path in tmp_path.iterdir())
    assert left == ["kernels-0", "kernels-1", "not-ours"]
