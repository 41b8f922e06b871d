"""A study of several wearables and references as a data set: every pair, and read back the same."""

import csv
import importlib.util
import json
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twinangle.analysis import analyse_trial
from twinangle.errors import StudyError
from twinangle.export import export_study
from twinangle.export.instrument_names import spread
from twinangle.study import Decision, append_decision, read_bare_study, read_study
from twinangle.study.decisions import moment, recording_hash

_spec = importlib.util.spec_from_file_location(
    "walks_of_pairs", Path(__file__).parents[1] / "review" / "walks.py"
)
walks = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(walks)

LAG_S = walks.LAG_S + walks.STARTED_LATE_S
DECIDED = (
    ("lag", {"lag_s": LAG_S, "drift_ppm": 0.0}, "strap", "optical"),
    ("interval", {"which": "analysed", "start_s": 6.5, "end_s": 20.0}, "sleeve", ""),
    ("recording", {"use": False}, "strap", "goniometer"),
)


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    """Write a study with decisions of each kind, and its data set."""
    home = tmp_path_factory.mktemp("pairs")
    path = walks.write_pairs(home / "study")
    bare = read_bare_study(path)
    for kind, value, wearable, reference in DECIDED:
        made = recording_hash(bare, bare.trials[0], wearable, reference)
        append_decision(
            path.parent,
            Decision(
                "R1", bare.trials[0].label, kind, value, "seen", made, "0.1", moment(),
                wearable=wearable, reference=reference,
            ),
        )  # fmt: skip
    done = export_study(read_study(path), home / "set")
    return home, done


def seen(folder):
    """Return the first recording's results as numbers, file names left out."""
    study = read_study(folder)
    return {
        one.procedure: (
            one.status, one.agreement and (one.agreement.offset, one.agreement.rms_demeaned),
            one.cycles and one.cycles.reason, one.common and one.common.rms_demeaned,
        )
        for one in analyse_trial(study, study.trials[0])
    }  # fmt: skip


def test_read_back_every_pair_has_the_same_results(folders):
    home, done = folders
    before, after = seen(home / "study"), seen(home / "set")
    assert before == after
    assert before["strap · angle · against goniometer"][0] == "excluded"
    assert before["strap · angle · against optical"][0] == "ok"
    assert done.n_recordings == 6
    assert len(done.notes) == 1
    assert "strap against goniometer: no angles: by hand: seen" in done.notes[0]


def test_rows_and_settings_are_each_pairs_own(folders):
    home, _ = folders
    for old, new in zip(
        read_study(home / "study").parts, read_study(home / "set").parts, strict=True
    ):
        assert old.sections == new.sections
        for name in ("wearable", "reference", "synchronisation", "cycles"):
            assert getattr(old.study, name) == getattr(new.study, name)
        for row, other in zip(old.study.trials, new.study.trials, strict=True):
            plain = [
                each.name for each in fields(row) if each.name not in ("wearable", "reference")
            ]
            told = replace(row, by_hand=other.by_hand)
            assert [getattr(told, name) for name in plain] == [
                getattr(other, name) for name in plain
            ]


def test_files_and_columns_tell_the_instruments_apart(folders):
    home, _ = folders
    names = sorted(path.name for path in (home / "set" / "sub-P01").rglob("*indoor*_motion.tsv"))
    systems = [name.split("_")[3].removeprefix("tracksys-") for name in names]
    assert systems == [
        "referenceGoniometer", "referenceOptical", "wearableSleeve", "wearableStrap",
    ]  # fmt: skip
    derived = home / "set" / "derivatives" / "twinangle"
    found = {path.name.split("_")[3] for path in derived.rglob("*task-indoor*")}
    assert found == {
        f"tracksys-angles{pair}" for pair in ("SleeveGoniometer", "SleeveOptical", "StrapOptical")
    }
    (channels,) = derived.rglob("*indoor*anglesStrapOptical*_channels.tsv")
    with channels.open(encoding="utf-8") as stream:
        columns = [row["name"] for row in csv.DictReader(stream, delimiter="\t")]
    assert columns[:2] == ["wearable_strap_angle", "reference_optical"]
    lines = (home / "set" / "decisions.jsonl").read_text(encoding="utf-8").splitlines()
    carried = [json.loads(line) for line in lines]
    assert [(one["kind"], one["wearable"]) for one in carried] == [
        ("lag", "strap"), ("recording", "strap"),
    ]  # fmt: skip


def test_the_data_set_exports_to_itself(folders):
    home, _ = folders
    export_study(read_study(home / "set"), home / "again")
    paths = [path for path in sorted((home / "set").rglob("*")) if path.is_file()]
    for path in paths:
        other = home / "again" / path.relative_to(home / "set")
        assert other.read_bytes() == path.read_bytes(), path.name


def test_names_that_would_be_one_tracking_system_are_refused(tmp_path):
    path = walks.write_pairs(tmp_path / "study", seconds=12.0)
    for file in (path, path.with_name("trials.csv")):
        text = file.read_text().replace("goniometer.", "")
        file.write_text(text.replace("goniometer", "a-b").replace("optical", "a_b"))
    for old in ("goniometer0.csv", "optical0.csv"):
        new = old.replace("goniometer", "a-b").replace("optical", "a_b")
        path.with_name(old).rename(path.with_name(new))
    with pytest.raises(StudyError, match="references 'a-b' and 'a_b' have the same letters"):
        export_study(read_study(path), tmp_path / "set")


SOME = st.sampled_from([None, 1.0, 2.0, 3.0])


@given(st.lists(SOME, min_size=1, max_size=3), st.lists(SOME, min_size=1, max_size=3), SOME)
def test_a_setting_is_read_by_each_pair_as_it_was(wearables, references, plain):
    """A reference's own goes before a wearable's own, and that before the plain one."""
    own = {f"w{k}": value for k, value in enumerate(wearables)}
    others = {f"r{k}": value for k, value in enumerate(references)}

    def read(whole, by_wearable, by_reference):
        return {
            (w, r): next(
                (v for v in (by_reference.get(r), by_wearable.get(w), whole) if v is not None), None
            )
            for w in own
            for r in others
        }

    values = read(plain, own, others)
    assert read(*spread(values, None)) == values
