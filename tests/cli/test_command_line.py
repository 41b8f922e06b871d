"""The commands as a user meets them, in a process of their own where that makes a difference."""

import contextlib
import io
import json
import shutil
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from unittest import mock

import numpy as np
import pandas as pd
import pytest

from twinangle.cli import main
from twinangle.run import STUDY_PLACE

STUDY = """
[study]
title = "Two stand-in instruments"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "angle"
time = "time_s"
angles = { first = "a_deg", second = "b_deg" }
[reference]
kind = "angle"
time = "time_s"
angle = "knee_deg"
[cycles]
method = "angle-peak"
"""


def twinangle(*words, cwd=None):
    return subprocess.run(
        [sys.executable, "-c", "from twinangle.cli import main; main()", *map(str, words)],
        capture_output=True,
        text=True,
        cwd=cwd,
        timeout=300,
        check=False,
    )


def here(*words, cwd=None):
    """Run a command in this process, which saves its start."""
    said, erred = io.StringIO(), io.StringIO()
    with (
        contextlib.chdir(cwd or Path.cwd()),
        contextlib.redirect_stdout(said),
        contextlib.redirect_stderr(erred),
        mock.patch.object(sys, "argv", ["twinangle", *map(str, words)]),
        pytest.raises(SystemExit) as leaving,
    ):
        main()
    return SimpleNamespace(
        returncode=leaving.value.code, stdout=said.getvalue(), stderr=erred.getvalue()
    )


def knee(phase):
    """Stylised knee curve of walking, degrees (two bumps on 3°); invented, no person."""
    phase = phase % 1
    bump = lambda centre, width: np.exp(-0.5 * ((phase - centre) / width) ** 2)  # noqa: E731
    return 3 + 14 * bump(0.14, 0.06) + 59 * bump(0.72, 0.09)


def write_pair(folder, name, seed, *, lag_s=1.25):
    """Write a minute of invented walking, seen by two clocks, after a few seconds of standing."""
    rng = np.random.default_rng(seed)
    strides = 1.1 * (1 + 0.02 * rng.standard_normal(52))
    contact = 6 + np.concatenate([[0], np.cumsum(strides)])
    size = 1 + 0.03 * rng.standard_normal(60)

    def angle(t):
        stride = np.clip(np.searchsorted(contact, t) - 1, 0, 51)
        phase = (t - contact[stride]) / strides[stride]
        walking = (t >= contact[0]) & (t < contact[-1])
        return np.where(walking, knee(phase) * size[stride], 0.0)

    t = np.arange(0, 70, 0.01)
    noise = lambda: 0.2 * rng.standard_normal(t.size)  # noqa: E731
    pd.DataFrame(
        {"time_s": t, "a_deg": angle(t) + 1.5 + noise(), "b_deg": angle(t) - 2 + noise()}
    ).round(4).to_csv(folder / f"{name}_wearable.csv", index=False)
    pd.DataFrame({"time_s": t, "knee_deg": angle(t + lag_s) + noise()}).round(4).to_csv(
        folder / f"{name}_reference.csv", index=False
    )


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    rows = ["participant,condition,wearable,reference,exclude"]
    for seed, name in enumerate(("P01", "P02", "P03", "P04")):
        write_pair(folder, name, seed)
        rows.append(f"{name},indoor,{name}_wearable.csv,{name}_reference.csv,")
    write_pair(folder, "P01_outdoor", 9)
    rows.append("P01,outdoor,P01_outdoor_wearable.csv,,")
    rows.append("P02,outdoor,P02_wearable.csv,,sensor came off")
    (folder / "trials.csv").write_text("\n".join(rows) + "\n")
    (folder / "study.toml").write_text(STUDY)
    return folder


@pytest.fixture
def copy(study, tmp_path):
    """Return a copy of the study that a test may spoil, with the shortest of reports."""
    folder = shutil.copytree(study, tmp_path / "study")
    with (folder / "study.toml").open("a") as stream:
        stream.write("[report]\ndocuments = []\n")
    return folder


@pytest.fixture(scope="module")
def ran(study, tmp_path_factory):
    out = tmp_path_factory.mktemp("results")
    return here("run", study / "study.toml", "--out", out), out


def test_a_run_writes_what_the_readme_promises(ran):
    finished, out = ran
    assert finished.returncode == 0, finished.stderr
    for name in ("report.pdf", "results.json", "methods.txt", "figures", "tables"):
        assert (out / name).exists()
    assert (out / "report.pdf").read_bytes().startswith(b"%PDF")
    assert "P04" in finished.stdout
    assert "report.pdf" in finished.stdout


def test_results_hold_every_key_of_the_contract(ran):
    _, out = ran
    text = (out / "results.json").read_text(encoding="utf-8")
    assert "NaN" not in text
    results = json.loads(text)
    trial = results["trials"][0]
    assert trial["status"] == "ok"
    assert trial["synchronisation"]["lag_s"] == pytest.approx(1.25, abs=0.003)
    assert trial["agreement"]["offset_deg"] == pytest.approx(1.5, abs=0.1)
    assert trial["agreement"]["rms_demeaned_deg"] < 0.3
    assert {"wearable_sd_deg", "reference_sd_deg"} <= trial["variability"].keys()
    assert {"found", "kept", "excluded", "duration_mean_s", "duration_sd_s"} <= trial[
        "cycles"
    ].keys()
    outdoor = next(t for t in results["trials"] if t["condition"] == "outdoor")
    assert outdoor["agreement"] is None
    assert outdoor["synchronisation"] is None
    assert outdoor["variability"]["reference_sd_deg"] is None
    excluded = next(t for t in results["trials"] if t["status"] == "excluded")
    assert excluded["reason"] == "sensor came off"
    limits = results["limits_of_agreement"]
    assert {item["quantity"] for item in limits} == {"mean_deg", "peak_flexion_deg", "range_deg"}
    assert {item["procedure"] for item in limits} == {"first", "second"}
    assert all(len(entry["sha256"]) == 64 for entry in results["provenance"]["inputs"])
    assert not any(entry["path"].startswith("/") for entry in results["provenance"]["inputs"])


STEP_BY_STEP = """
import sys
from pathlib import Path
from twinangle import read_study, run_study, write_outputs
results = run_study(read_study(Path(sys.argv[1])))
assert results.trials[0].paired is not None
write_outputs(results, Path(sys.argv[2]))
"""


@pytest.mark.nightly
def test_figures_drawn_beside_the_analysis_are_those_drawn_after_it(ran, study, tmp_path):
    _, out = ran
    words = [sys.executable, "-c", STEP_BY_STEP, study / "study.toml", tmp_path / "after"]
    subprocess.run(words, check=True, timeout=300)
    written = [path for path in sorted((tmp_path / "after").rglob("*")) if path.is_file()]
    assert len(written) > 10
    for path in written:
        name = path.relative_to(tmp_path / "after")
        assert path.read_bytes() == (out / name).read_bytes(), name


def test_two_runs_give_the_same_bytes_whatever_the_number_of_jobs(ran, study, tmp_path):
    _, out = ran
    again = twinangle("run", study / "study.toml", "--out", tmp_path / "again", "--jobs", 2)
    assert again.returncode == 0, again.stderr
    # Where the study lies, seen from a folder, depends on where the folder is.
    files = [p for p in sorted(out.rglob("*")) if p.is_file() and p.name != STUDY_PLACE]
    assert len(files) > 10
    for path in files:
        twin = tmp_path / "again" / path.relative_to(out)
        assert twin.read_bytes() == path.read_bytes(), path.name


def test_one_faulty_trial_does_not_stop_the_others(copy):
    (copy / "P02_reference.csv").write_text("time_s,knee_deg\n0,1\n0.01,oops\n")
    finished = here("run", copy / "study.toml", "--out", copy.parent / "out")
    assert finished.returncode == 1
    assert "Traceback" not in finished.stderr + finished.stdout
    results = json.loads((copy.parent / "out/results.json").read_text())
    failed = [t for t in results["trials"] if t["status"] == "failed"]
    assert {t["participant"] for t in failed} == {"P02"}
    assert "oops" in failed[0]["reason"]
    assert sum(t["status"] == "ok" for t in results["trials"]) == 8


def test_an_odd_title_and_odd_names_are_shown_and_the_report_is_told_of(copy):
    text = (copy / "study.toml").read_text()
    odd = text.replace("Two stand-in", "[/b] \\u001b[31m\\u202e").replace("first =", '"=first" =')
    (copy / "study.toml").write_text(odd)
    rows = (copy / "trials.csv").read_text().splitlines()
    (copy / "trials.csv").write_text("\n".join(rows[:2]) + "\n")
    finished = here("run", copy / "study.toml", "--out", copy.parent / "out")
    assert finished.returncode == 0, finished.stderr
    assert r"[/b] \x1b[31m\u202e instruments" in finished.stdout
    assert "\x1b" not in finished.stdout
    assert "report.pdf" in finished.stdout
    assert ",'=first," in (copy.parent / "out/tables/trials.csv").read_text()
    assert (
        "[/b] \x1b[31m"
        in json.loads((copy.parent / "out/results.json").read_text())["study"]["title"]
    )


OWN_PROCEDURE = """
[study]
title = "From somebody else"
joint = "knee"
trials = "trials.csv"
[wearable]
kind = "inertial"
time = "time_s"
procedures = ["planted:angle"]
[wearable.proximal]
accelerometer = ["a", "b", "c"]
gyroscope = ["d", "e", "f"]
[wearable.distal]
accelerometer = ["g", "h", "i"]
gyroscope = ["j", "k", "l"]
"""


def test_a_study_file_names_no_code_that_runs_unasked(tmp_path):
    (tmp_path / "planted.py").write_text("raise RuntimeError('it ran')")
    (tmp_path / "study.toml").write_text(OWN_PROCEDURE)
    table = "participant,wearable,static_start_s,static_end_s\nP01,a.csv,1,2\n"
    (tmp_path / "trials.csv").write_text(table)
    (tmp_path / "a.csv").write_text("time_s,a\n0,1\n")
    for words in (("check",), ("run", "--out", "out"), ("export", "--to", "out")):
        finished = here(words[0], "study.toml", *words[1:], cwd=tmp_path)
        assert finished.returncode == 1
        assert "'planted:angle', a Python function" in finished.stderr
        assert "--allow-own-procedures" in finished.stderr
        assert "it ran" not in finished.stderr + finished.stdout
    finished = twinangle("check", "study.toml", "--allow-own-procedures", cwd=tmp_path)
    assert "it ran" in finished.stderr


@pytest.mark.parametrize(
    ("out", "message"),
    [("study.toml/out", "is a file, and no folder can lie beneath it"), ("x" * 300, "cannot be")],
)
def test_a_place_that_cannot_be_written_is_refused_before_the_run(copy, out, message):
    finished = here("run", "study.toml", "--out", out, cwd=copy)
    assert finished.returncode == 1
    assert message in finished.stderr
    assert finished.stderr.count("\n") == 1


def test_check_lists_every_fault_at_once_and_computes_nothing(copy):
    (copy / "P01_wearable.csv").write_text("")
    (copy / "P03_reference.csv").write_text("time_s,knee\n0,1\n0.01,2\n")
    finished = here("check", copy / "study.toml")
    assert finished.returncode == 1
    assert "P01_wearable.csv" in finished.stderr
    assert "knee_deg" in finished.stderr
    assert "Traceback" not in finished.stderr


def test_check_passes_a_good_study(study):
    finished = here("check", study / "study.toml")
    assert finished.returncode == 0, finished.stderr
    assert "no fault found" in finished.stdout


def test_describe_names_the_channels(study):
    finished = here("describe", study / "P01_wearable.csv")
    assert finished.returncode == 0
    assert "a_deg" in finished.stdout
    assert "100" in finished.stdout


def test_a_reference_with_the_wrong_sign_is_named(copy):
    text = (copy / "study.toml").read_text()
    inverted = text.replace('angle = "knee_deg"', 'angle = "knee_deg"\nsign = -1')
    (copy / "study.toml").write_text(inverted)
    finished = here("run", copy / "study.toml", "--out", copy.parent / "out")
    assert finished.returncode == 1
    assert "sign" in finished.stdout + finished.stderr


def test_the_study_folder_is_no_output_folder(copy):
    before = sorted(p.name for p in copy.iterdir())
    finished = here("run", copy / "study.toml", "--out", copy)
    assert finished.returncode == 1
    assert "holds the study itself" in finished.stderr
    assert sorted(p.name for p in copy.iterdir()) == before


@pytest.mark.parametrize(
    ("words", "status"),
    [(("run",), 2), (("nonsense",), 2), (("check", "absent.toml"), 1), (("--help",), 0)],
)
def test_exit_status(words, status, tmp_path):
    # what imports little is quick in a process of its own
    finished = (here if "check" in words else twinangle)(*words, cwd=tmp_path)
    assert finished.returncode == status
    assert "Traceback" not in finished.stderr


def test_help_imports_nothing_heavy():
    code = (
        "import sys; from twinangle import cli; "
        "print(sorted({'numpy', 'scipy', 'pandas', 'matplotlib', 'numba'} & set(sys.modules)))"
    )
    finished = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert finished.stdout.strip() == "[]"


def test_results_are_read_without_what_only_an_analysis_needs():
    code = (
        "import sys; import twinangle.run; "
        "print(sorted({'scipy.special', 'pandas', 'pyarrow', 'matplotlib', 'vqf', 'numba', "
        "'statsmodels'} & set(sys.modules)))"
    )
    finished = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert finished.stdout.strip() == "[]"
