"""One file a sensor: the same answer as one file for both, and no guess about the clocks."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from twinangle.analysis import analyse_trial, check_study, reading
from twinangle.analysis.merging import interpolate, merge_sensors
from twinangle.analysis.reading import read_trial
from twinangle.analysis.study import input_files
from twinangle.errors import RecordingError, StudyError
from twinangle.signals.recording import Recording
from twinangle.simulate import write_demo_study
from twinangle.study import read_study

FILES = '[wearable.files]\nproximal = "{wearable}_thigh.csv"\ndistal = "{wearable}_shank.csv"\n'


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Path:
    """Write a study of one outdoor trial, both sensors in one file."""
    folder = tmp_path_factory.mktemp("whole") / "study"
    write_demo_study(folder, participants=1, walk_s=15.0, conditions=["outdoor"])
    text = (
        (folder / "study.toml")
        .read_text()
        .replace('["kalman-two-sensors", "kalman-forward"]', '["kalman"]')
    )
    (folder / "study.toml").write_text(text)
    edit_table(folder, start_s="", end_s="")  # the whole of the recording counts
    return folder


@pytest.fixture
def split(whole, tmp_path) -> Path:
    """Return the same study with one file a sensor, each with plain channel names."""
    folder = Path(shutil.copytree(whole, tmp_path / "split"))
    frame = pd.read_csv(folder / "wearable" / "P01_outdoor.csv")
    for segment in ("thigh", "shank"):
        names = {name: name.removeprefix(f"{segment}_") for name in frame.columns}
        own = frame[["time_s", *(n for n in frame if n.startswith(segment))]].rename(columns=names)
        own.to_csv(folder / "wearable" / f"P01_outdoor_{segment}.csv", index=False)
    (folder / "wearable" / "P01_outdoor.csv").unlink()
    text = (folder / "study.toml").read_text().replace("thigh_", "").replace("shank_", "")
    (folder / "study.toml").write_text(text.replace("[wearable.units]", FILES + "[wearable.units]"))
    edit_table(folder, wearable="wearable/P01_outdoor")
    return folder


@pytest.fixture
def unchecked(monkeypatch) -> None:
    """Spare tests of other things the seconds that the check of the clocks takes."""
    monkeypatch.setattr(reading, "clock_warnings", lambda pair: ())


def edit_table(folder: Path, **cells: object) -> None:
    table = pd.read_csv(folder / "trials.csv", dtype=str, keep_default_na=False)
    table.assign(**{name: str(value) for name, value in cells.items()}).to_csv(
        folder / "trials.csv", index=False
    )


def edit_shank(folder: Path, change) -> None:
    path = folder / "wearable" / "P01_outdoor_shank.csv"
    change(pd.read_csv(path)).to_csv(path, index=False)


def analyse(folder: Path):
    study = read_study(folder)
    (result,) = analyse_trial(study, study.trials[0])
    assert result.status == "ok", result.reason
    return result


def later(seconds: float):
    return lambda frame: frame.assign(time_s=(frame["time_s"] + seconds).round(6))


@pytest.fixture(scope="module")
def expected(whole):
    return analyse(whole)


def test_two_files_on_one_clock_give_what_one_file_gives_to_the_last_bit(split, expected):
    found = analyse(split)

    assert_array_equal(found.paired.wearable_deg, expected.paired.wearable_deg)
    assert_array_equal(found.cycles.start_s, expected.cycles.start_s)
    names = [path.name for path in input_files(read_study(split))]
    assert "P01_outdoor_thigh.csv" in names
    assert "P01_outdoor_shank.csv" in names


@pytest.mark.usefixtures("unchecked")
def test_what_one_sensor_recorded_alone_is_left_out_and_told(split, expected):
    edit_shank(split, lambda frame: frame.iloc[25:-40])

    found = analyse(split)

    assert found.paired.wearable_deg.size == expected.paired.wearable_deg.size - 65
    assert any("0.25 s at the beginning and 0.4 s at the end" in text for text in found.warnings)


@pytest.mark.usefixtures("unchecked")
@pytest.mark.parametrize(("rate_hz", "phase_s"), [(100, 0.0047), (128, 0.0), (80, 0.0013)])
def test_unlike_samples_are_interpolated_and_told(split, expected, rate_hz, phase_s):
    def resample(frame):
        times = np.arange(frame["time_s"].iloc[0] + phase_s, frame["time_s"].iloc[-1], 1 / rate_hz)
        # An independent interpolation: by Fourier it would ring at the ends, so quintic.
        from scipy.interpolate import make_interp_spline

        columns = {n: make_interp_spline(frame["time_s"], frame[n], k=5)(times) for n in frame}
        return pd.DataFrame(columns | {"time_s": times.round(7)})

    edit_shank(split, resample)

    found = analyse(split)

    assert any("interpolated at the samples of" in text for text in found.warnings)
    rate = max(rate_hz, 100)
    assert found.paired.rate_hz == pytest.approx(rate)
    times = found.paired.time_s
    inside = (times > 3) & (times < expected.paired.time_s[-1] - 1)
    on_ours = np.interp(times[inside], expected.paired.time_s, expected.paired.wearable_deg)
    difference = found.paired.wearable_deg[inside] - on_ours
    assert np.sqrt(np.mean(difference**2)) < 0.1


@pytest.mark.usefixtures("unchecked")
def test_files_with_clocks_of_their_own_are_refused_until_the_lag_is_given(split, expected):
    edit_shank(split, later(5000))
    study = read_study(split)
    (fault,) = check_study(study).faults
    assert "these are not times of one clock; accepted: files on one clock, or" in fault
    assert "P01_outdoor_shank.csv from 5000 to" in fault

    edit_table(split, distal_lag_s="-5000")
    assert_allclose(analyse(split).paired.wearable_deg, expected.paired.wearable_deg, atol=1e-9)

    edit_table(split, distal_lag_s="5000")
    (fault,) = check_study(read_study(split)).faults
    assert "correct `distal_lag_s` of this trial" in fault


@pytest.mark.usefixtures("unchecked")
def test_times_that_both_begin_at_zero_bring_a_warning_until_the_lag_is_given(split):
    said = "nothing in them tells that both sensors were started at the same moment"
    assert any(said in text for text in analyse(split).warnings)

    edit_table(split, distal_lag_s="0")
    assert not any(said in text for text in analyse(split).warnings)


@pytest.mark.parametrize(
    "moved_s",
    [-4.0, -0.3],
)
def test_sensors_that_move_at_different_times_bring_a_warning(split, moved_s):
    study = read_study(split)
    before = read_trial(study, study.trials[0]).warnings
    assert not any("are both files on one clock?" in text for text in before)

    edit_shank(split, later(moved_s))
    after = read_trial(study, study.trials[0]).warnings
    (text,) = (text for text in after if "are both files on one clock?" in text)

    # The distal times were put too early, so they must be moved later by about as much.
    found = float(re.search(r"moved by \+([\d.]+) s", text)[1])
    assert found == pytest.approx(-moved_s, abs=0.11)


@pytest.mark.usefixtures("unchecked")
def test_a_trigger_is_read_from_the_proximal_sensors_file(split):
    path = split / "wearable" / "P01_outdoor_thigh.csv"
    pd.read_csv(path).assign(sync=1.0).to_csv(path, index=False)
    text = (split / "study.toml").read_text()
    method = 'method = "trigger"\nwearable_trigger = "sync"\nreference_trigger = "x"\n'
    (split / "study.toml").write_text(
        text.replace('method = "cross-correlation"', method).replace("drift = true", "")
    )

    assert check_study(read_study(split)).faults == ()


@pytest.mark.usefixtures("unchecked")
def test_patterns_may_name_any_column_of_the_table(split):
    text = (split / "study.toml").read_text()
    (split / "study.toml").write_text(
        text.replace(
            "{wearable}_thigh.csv", "wearable/{participant}_{condition}_thigh.csv"
        ).replace("{wearable}_shank.csv", "{shank_file}")
    )
    edit_table(split, shank_file="wearable/P01_outdoor_shank.csv")
    table = pd.read_csv(split / "trials.csv", dtype=str).drop(columns="wearable")
    table.to_csv(split / "trials.csv", index=False)

    study = read_study(split)

    assert [path.name for path in study.trials[0].wearable.both] == [
        "P01_outdoor_thigh.csv",
        "P01_outdoor_shank.csv",
    ]
    assert "shank_file" not in study.trials[0].covariates
    assert check_study(study).faults == ()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("{wearable}_thigh", "thigh", "`proximal` needs a placeholder"),
        ("{wearable}_thigh", "{wearable_thigh", "`proximal` has a brace too many"),
        ("{wearable}_thigh", "{wearable}_shank", "names the same file for both sensors"),
        ("{wearable}_thigh", "{person}_thigh", "column 'person' is missing"),
        ("{wearable}_thigh", "{wearable}_thing", "'wearable/P01_outdoor_thing.csv' does not exist"),
        ("{wearable}_thigh", "../{wearable}", "leaves the study folder"),
        ('distal = "{wearable}', 'middle = "{wearable}', "`middle` is not a known key"),
    ],
)
def test_faulty_patterns_are_named(split, old, new, message):
    text = (split / "study.toml").read_text()
    assert old in text
    (split / "study.toml").write_text(text.replace(old, new))

    with pytest.raises(StudyError, match=message.replace("(", r"\(")):
        read_study(split)


@pytest.mark.usefixtures("unchecked")
def test_standing_and_movement_may_have_two_files_of_their_own(split, expected):
    for segment in ("thigh", "shank"):
        frame = pd.read_csv(split / "wearable" / f"P01_outdoor_{segment}.csv")
        trial = read_study(split).trials[0]
        standing = frame[frame["time_s"].between(trial.static.start_s, trial.static.end_s)]
        standing.to_csv(split / f"standing_{segment}.csv", index=False)
    edit_table(split, static="standing", static_start_s="", static_end_s="")

    found = analyse(split)

    assert_allclose(found.agreement or 0, 0)
    difference = found.paired.wearable_deg - expected.paired.wearable_deg
    assert np.abs(difference[200:-200]).max() < 1.0


def test_a_lag_without_two_files_is_refused(whole, tmp_path):
    folder = Path(shutil.copytree(whole, tmp_path / "one"))
    edit_table(folder, distal_lag_s="1")

    with pytest.raises(StudyError, match="both sensors are in one file"):
        read_study(folder)


def sine(rate_hz: float, start_s: float, n: int) -> Recording:
    time_s = start_s + np.arange(n) / rate_hz
    values = np.sin(2 * np.pi * 1.5 * time_s)[:, None]
    return Recording(time_s, values, ("a",), ("",), f"at {rate_hz:g} Hz")


def test_interpolation_follows_a_sine_and_keeps_gaps():
    recording = sine(100, 0.0, 1000)
    values = recording.columns(["a"]).copy()
    values[500:503] = np.nan
    holed = Recording(recording.time_s, values, ("a",), ("",), "holed")
    times = np.arange(30, 9900) / 1000 + 0.0004

    found = interpolate(holed, times)[:, 0]

    gap = (times > 4.99) & (times < 5.03)
    assert np.isnan(found[gap]).all()
    assert np.isfinite(found[~gap]).all()
    far = np.abs(times - 5.01) > 0.1
    # The spline's error on a sine: (2 pi f h)^4 / 384 of the amplitude and a little more.
    assert_allclose(found[far], np.sin(2 * np.pi * 1.5 * times[far]), atol=1e-6)


def test_the_grid_is_that_of_the_faster_file_whichever_it_is():
    for pair in (
        (sine(100, 0.0, 500), sine(50, 0.0, 250)),
        (sine(50, 0.0, 250), sine(100, 0, 500)),
    ):
        merged, report = merge_sensors(*pair, distal_lag_s=0.0)
        assert report.rate_hz == pytest.approx(100)
        both = merged.columns(["proximal a", "distal a"])[50:-50]
        assert_allclose(both[:, 0], both[:, 1], atol=1e-4)
        assert merged.channels == ("proximal a", "distal a")


def test_missing_rows_stay_gaps_of_their_own_sensor():
    whole = sine(100, 2.0, 500)
    kept = np.r_[0:200, 260:500]
    holed = Recording(whole.time_s[kept], whole.columns(["a"])[kept], ("a",), ("",), "holed")

    merged, report = merge_sensors(whole, holed)

    assert report.n_missing == 60
    assert np.isnan(merged.columns(["distal a"])[200:260]).all()
    assert_array_equal(merged.columns(["proximal a"]), whole.columns(["a"]))
    assert report.warnings == ()
    with pytest.raises(RecordingError, match="share 0 s"):
        merge_sensors(whole, sine(100, 90.0, 500))
