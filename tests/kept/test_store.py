"""The store alone: whole entries or none, found by all that their content depends on."""

from __future__ import annotations

import hashlib
import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest

from twinangle import read_study
from twinangle.code_identity import code_and_machine, our_code
from twinangle.errors import TwinangleError
from twinangle.kept import Key, Store, hash_of_file, key_of, keys
from twinangle.kept.store_lines import kept_lines

KEY = Key("a" * 64, "b" * 64, "c" * 64, "d" * 64)


def test_other_code_and_other_settings_have_other_keys(single):
    study = read_study(single)
    trial = study.trials[0]
    files = [path for path in (trial.wearable,) if isinstance(path, Path)]
    how = {"settings": {"a": {"b": 1}}, "row": trial, "files": files, "drawing": []}
    keys = [
        key_of(code=code, folder=study.folder, **(how | change))
        for code, change in (
            (our_code(), {}),
            (our_code() | {"numpy": "0"}, {}),
            (our_code(), {"settings": {"a": {"b": 2}}}),
            (
                our_code(),
                {"row": replace(trial, side="left" if trial.side == "right" else "right")},
            ),
            (our_code(), {"drawing": ["png"]}),
        )
    ]
    assert None not in keys
    assert len({key.name for key in keys if key is not None}) == 5
    assert key_of(code=our_code(), folder=study.folder, **(how | {"files": [Path("no")]})) is None
    assert key_of(code=our_code(), folder=study.folder, **(how | {"row": object()})) is None


@pytest.mark.parametrize("content", [b"", b"\n", b"{}\nabc", b"no json\n", b"[1]\n"])
def test_an_entry_that_is_none_is_nothing(tmp_path, content):
    store = Store(tmp_path)
    store.put(KEY, {"a": 1}, study="s", name="r")
    path = store.entries()[0].path
    path.write_bytes(content)
    assert store.take(KEY) is None
    assert not path.exists()


def test_the_least_recently_used_goes_first(tmp_path):
    store = Store(tmp_path, limit_mb=2.5 / 1024)
    keys = [replace(KEY, files=f"{k}" * 64) for k in range(4)]
    for k, key in enumerate(keys):
        store.put(key, os.urandom(700), study="s", name=str(k))
        os.utime(store._path(key), (1000.0 + k, 1000.0 + k))
    assert store.take(keys[0]) is not None  # used now
    store.trim()
    assert [store.has(key) for key in keys] == [True, False, False, True]


def test_writers_at_the_same_time_leave_a_whole_entry(tmp_path):
    store = Store(tmp_path)
    with ThreadPoolExecutor(8) as pool:
        found = list(
            pool.map(lambda k: store.put(KEY, [k] * 50_000, study="s", name="r"), range(24))
        )
    assert found == [""] * 24
    value = store.take(KEY)
    assert value == [value[0]] * 50_000
    assert [path.suffix for path in tmp_path.rglob("*") if path.is_file()] == [".kept"]


def test_what_differs_between_entries_of_one_recording_is_named(tmp_path):
    store = Store(tmp_path)
    store.put(KEY, 1, study="Path", name="P01 indoor")
    store.put(replace(KEY, settings="e" * 64), 2, study="Path", name="P01 indoor")
    store.put(replace(KEY, row=""), 3, study="Path", name="pooled: limits")
    lines = list(kept_lines(store, every=True))
    (detail,) = [line for line in lines if "2 times, of other settings" in line]
    assert detail.startswith("    P01 indoor: 0.0 MB, last used today; ")
    assert any("1 recording in 2 entries and 1 part of the report" in line for line in lines)


def test_a_study_is_one_line_however_much_of_it_is_kept(tmp_path):
    store = Store(tmp_path)
    for study, n in (("Path", 40), ("Hall", 3)):
        for k in range(n):
            for settings in "ef":
                key = Key(study[0] * 64, settings * 64, f"{k:064}", "d" * 64)
                store.put(key, k, study=study, name=f"P{k:02} indoor")
    lines = list(kept_lines(store))
    assert len(lines) == 4
    (line,) = [line for line in lines if line.startswith("  Path: ")]
    assert line.startswith("  Path: 40 recordings in 80 entries")
    assert line.endswith("MB, last used today")
    assert lines[-1].endswith("twinangle cache --all")
    assert len(list(kept_lines(store, every=True))) == 3 + 43


def test_another_entry_under_its_name_is_nothing(tmp_path):
    store, other = Store(tmp_path), replace(KEY, files="e" * 64)
    for key, value in ((KEY, "of one"), (other, "of another")):
        store.put(key, value, study="s", name="r")
    store._path(KEY).write_bytes(store._path(other).read_bytes())
    assert store.take(KEY) is None
    assert store.take(other) == "of another"


def test_nothing_of_others_is_removed(tmp_path):
    mine = tmp_path / "ab" / "film.part"
    mine.parent.mkdir()
    mine.write_text("not ours")
    os.utime(mine, (1000.0, 1000.0))
    store = Store(tmp_path)
    store.put(KEY, 1, study="s", name="r")
    store.trim()
    assert store.clear()[0] == 1
    assert mine.read_text() == "not ours"


@pytest.mark.parametrize("text", ["nan", "inf", "-1", "much"])
def test_a_limit_that_is_none_is_refused(tmp_path, monkeypatch, text):
    monkeypatch.setenv("TWINANGLE_KEPT_MB", text)
    with pytest.raises(TwinangleError, match=f"TWINANGLE_KEPT_MB holds '{text}'; accepted"):
        Store(tmp_path)


def test_what_the_processor_can_do_is_in_the_key():
    assert code_and_machine().items() > our_code().items()


def test_a_folder_that_may_not_be_looked_into_holds_nothing(tmp_path, monkeypatch):
    """As the cache of another user, after one run as root: the run ended with a PermissionError."""
    store, stat = Store(tmp_path / "kept"), Path.stat

    def refused(path: Path, **how: bool) -> os.stat_result:
        if path.is_relative_to(tmp_path):
            raise PermissionError(13, "Permission denied")
        return stat(path, **how)

    monkeypatch.setattr(Path, "stat", refused)
    assert not store.has(KEY)
    assert store.entries() == []
    assert store.clear() == (0, 0)
    store.trim()
    assert store.take(KEY) is None


def test_how_linear_algebra_takes_its_sums_is_in_the_key(monkeypatch):
    """A dot product of 400,000 numbers in one thread and in two differed by 1e-15 of it."""
    found = []
    for threads, core in (("1", ""), ("2", ""), ("1", "Nehalem"), ("", "")):
        monkeypatch.setenv("OPENBLAS_NUM_THREADS", threads)
        monkeypatch.setenv("OPENBLAS_CORETYPE", core)
        found.append(code_and_machine())
    assert all(one != other for k, one in enumerate(found) for other in found[:k])


@pytest.mark.parametrize(("age_ns", "reads"), [(0, 1), (3_600_000_000_000, 2)])
def test_a_file_that_stays_the_same_is_read_once(tmp_path, monkeypatch, age_ns, reads):
    """Unless it was written a moment ago. The command `sha256sum` gave the hash of "abc" too."""
    monkeypatch.setattr(keys, "_COARSEST_NS", age_ns)
    read, whole = [], hashlib.file_digest
    monkeypatch.setattr(hashlib, "file_digest", lambda *a: read.append(a) or whole(*a))
    path = tmp_path / "recording.csv"
    path.write_text("abc")
    for _ in range(2):
        assert hash_of_file(path).startswith("ba7816bf8f01cfea")
    assert len(read) == reads
    path.write_text("abd")  # as long as before
    os.utime(path, ns=(1, 1))
    assert hash_of_file(path).startswith("a52d159f262b2c6d")
