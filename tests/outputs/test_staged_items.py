"""Folders that are moved in item by item: the demo study and the exported data set."""

from __future__ import annotations

import pytest

from twinangle.output_folder.places import holds_files, staged_items


def write(folder, text, **order):
    with staged_items(folder, last=("study.toml",), **order) as staging:
        (staging / "data").mkdir()
        (staging / "data" / f"{text}.csv").write_text(text)
        (staging / "study.toml").write_text(text)
        assert staging.parent == folder  # so that a mount point is as good as any


def names(folder):
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


def test_items_arrive_and_nothing_temporary_stays(tmp_path):
    write(tmp_path / "a/b", "old")
    write(tmp_path / "a/b", "new")
    assert names(tmp_path) == ["a/b/data/new.csv", "a/b/study.toml"]


def test_a_fault_leaves_what_was_there(tmp_path):
    write(tmp_path / "old", "old")
    for place in ("old", "new"):
        with (  # noqa: PT012 - the fault comes in the midst of writing
            pytest.raises(RuntimeError),
            staged_items(tmp_path / place, last=()) as staging,
        ):
            (staging / "half").write_text("half")
            raise RuntimeError("power cut")
    assert names(tmp_path) == ["old/data/old.csv", "old/study.toml"]
    assert not (tmp_path / "new").exists()


def test_what_a_killed_command_staged_is_swept(tmp_path):
    (tmp_path / ".twinangle-staging-x").mkdir()
    (tmp_path / ".twinangle-staging-x/half").write_text("half")
    assert not holds_files(tmp_path)
    write(tmp_path, "new")
    assert names(tmp_path) == ["data/new.csv", "study.toml"]


def test_a_kill_in_the_midst_leaves_nothing_that_looks_whole(tmp_path, monkeypatch):
    write(tmp_path, "old")
    seen = []
    monkeypatch.setattr(
        "twinangle.output_folder.places.shutil.rmtree",
        lambda path, **_: seen.append((path.name, (tmp_path / "study.toml").exists())),
    )
    with pytest.raises(OSError, match="not empty"):
        write(tmp_path, "new")
    assert seen[0] == ("data", False)
