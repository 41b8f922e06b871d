"""Mutated recordings and studies: always a result or a message, never more.

    python benchmarks/fuzz_importers.py [N] [--seconds S] [--only KIND ...]

**Formats.** Writes one small recording in each format, mutates it N times over all (20,000 unless
said otherwise; bytes changed, inserted, repeated, cut), and reads each mutant in a worker with
1 GiB of memory beyond its start; every tenth is described instead, which reads all its channels. A
workbook is mutated as it stands (its checksums then tell), and unpacked. MATLAB 7.3 has 300
mutants at most, because each is read in a process of its own.

**Studies.** Writes one small study and mutates its `study.toml`, its `trials.csv`, or numbers of
its recordings so that they are numbers still (other digits, signs, exponents, repeated and missing
rows), N / 40 mutants of each. A mutant that is read is analysed and its results written as text.

Prints, for each kind, how many were read, how many refused and how many reached the analysis, the
slowest in seconds of the processor (whatever else the machine does), and every mutant that ended
otherwise: another exception, a message that does not name the file, a trial that failed for a
reason that is our own fault, more than 5 s (30 s with an analysis), a worker that died. With
`--seconds` no new batch begins after so many seconds; what was not reached is said. Exit status 1
if there is any bad end.
"""

from __future__ import annotations

import argparse
import io
import os
import re
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from twinangle.errors import TwinangleError
from twinangle.formats import describe_file, read_recording
from twinangle.platform_calls import limit_process
from twinangle.study import read_study

CHANNELS = ("acc_x", "acc_y", "acc_z")
RATE_HZ = 50
SLOW_S = 5.0
SLOW_ANALYSIS_S = 30.0
MEMORY_BYTES = 1 << 30  # beyond what the worker has at its start
STUDY_KINDS = ("study.toml", "trials.csv", "values")
STUDY = """\
[study]
title = "Ridge path study"
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
gain = 1.0
offset = 0.5
[synchronisation]
method = "cross-correlation"
max_lag_s = 5.0
drift = true
[cycles]
method = "angle-peak"
[agreement]
confidence = 0.95
acceptable_deg = 5.0
"""
TRIALS = """\
participant,session,condition,trial,side,wearable,reference,start_s,end_s,expected_lag_s,speed_m_s
P01,1,indoor,1,left,walk.csv,walk.csv,1.0,39.0,0.0,1.2
P02,1,indoor,1,right,walk.csv,walk.csv,1.0,38.5,,1.3
P01,1,outdoor,1,left,walk.csv,,,,,1.25
"""


def write_table(kind: str, folder: Path, frame: pd.DataFrame) -> Path:
    """Write delimited text, a columnar file, or a workbook."""
    from pyarrow import feather

    match kind:
        case "csv":
            frame.to_csv(path := folder / "walk.csv", index=False)
        case "semicolon":
            frame.to_csv(path := folder / "walk.txt", index=False, sep=";", decimal=",")
        case "parquet":
            frame.to_parquet(path := folder / "walk.parquet")
        case "xlsx" | "xlsx-unpacked":
            frame.to_excel(path := folder / "walk.xlsx", index=False)
        case _:
            feather.write_feather(frame, path := folder / "walk.feather")
    return path


def write_matlab(kind: str, folder: Path, frame: pd.DataFrame) -> Path:
    """Write MATLAB 5, compressed or not, or 7.3 with the header that it has."""
    import h5py
    from scipy.io import savemat

    path = folder / "walk.mat"
    content = {name: frame[name].to_numpy() for name in frame}
    if kind != "mat-7.3":
        savemat(path, content, do_compression=kind == "mat")
        return path
    with h5py.File(path, "w", userblock_size=512) as file:
        for name, values in content.items():
            data = file.create_dataset(name, data=values[None], compression="gzip")
            data.attrs["MATLAB_class"] = np.bytes_("double")
    path.write_bytes(b"MATLAB 7.3 MAT-file".ljust(124) + b"\0\2IM" + path.read_bytes()[128:])
    return path


def write_bids(folder: Path, frame: pd.DataFrame) -> Path:
    """Write a Motion-BIDS recording with the list of its channels."""
    path = folder / "sub-01_task-walk_tracksys-imu_motion.tsv"
    frame.to_csv(path, index=False, header=False, sep="\t")
    kinds = ["LATENCY", "ACCEL", "ACCEL", "ACCEL"]
    channels = pd.DataFrame({"name": frame.columns, "type": kinds})
    listed = folder / "sub-01_task-walk_tracksys-imu_channels.tsv"
    channels.to_csv(listed, index=False, sep="\t")
    return path


def write_c3d(kind: str, folder: Path, frame: pd.DataFrame) -> Path:
    """Write one marker, or three analogue channels beside another marker, with an event."""
    import ezc3d

    content = ezc3d.c3d()
    values = frame[list(CHANNELS)].to_numpy().T
    point = content["parameters"]["POINT"]
    point["RATE"]["value"], point["UNITS"]["value"] = [RATE_HZ], ["mm"]
    point["LABELS"]["value"] = ["acc" if kind == "c3d-points" else "other"]
    content["data"]["points"] = np.vstack([values, np.ones(len(frame))])[:, np.newaxis]
    if kind != "c3d-points":
        analogue = content["parameters"]["ANALOG"]
        analogue["RATE"]["value"], analogue["LABELS"]["value"] = [RATE_HZ], list(CHANNELS)
        content["data"]["analogs"] = values[np.newaxis]
    content.add_event([0, 0.5], context="Left", label="initial contact")
    content.write(str(folder / "walk.c3d"))
    return folder / "walk.c3d"


def write_edf(kind: str, folder: Path, frame: pd.DataFrame) -> Path:
    """Write EDF+ or BDF+ with an annotation, or EDF+ with a break before its last data record."""
    import edfio

    wide = kind == "bdf"
    signal = edfio.BdfSignal if wide else edfio.EdfSignal
    signals = [
        signal(frame[name].to_numpy(), RATE_HZ, label=name, physical_range=(-8, 8))
        for name in CHANNELS
    ]
    notes = [edfio.EdfAnnotation(0.2, None, "foot strike")]
    written = (edfio.Bdf if wide else edfio.Edf)(
        signals, annotations=notes, data_record_duration=0.2
    )
    path = folder / f"walk.{'bdf' if wide else 'edf'}"
    written.write(path)
    if kind == "edf-breaks":
        data = path.read_bytes().replace(b"EDF+C", b"EDF+D")
        path.write_bytes(data.replace(b"+1\x14\x14", b"+5\x14\x14"))
    return path


WRITERS = {
    **dict.fromkeys(
        ("csv", "semicolon", "parquet", "feather", "xlsx", "xlsx-unpacked"), write_table
    ),
    **dict.fromkeys(("mat", "mat-plain", "mat-7.3"), write_matlab),
    "bids": lambda _, folder, frame: write_bids(folder, frame),
    **dict.fromkeys(("c3d", "c3d-points"), write_c3d),
    **dict.fromkeys(("edf", "edf-breaks", "bdf"), write_edf),
}


def write(kind: str, folder: Path) -> Path:
    """Write an invented recording and return its path."""
    rng = np.random.default_rng(3)
    frame = pd.DataFrame(rng.normal(size=(60, 3)).round(4), columns=list(CHANNELS))
    frame.insert(0, "time_s", np.arange(60) / RATE_HZ)
    return WRITERS[kind](kind, folder, frame)


def mutate(clean: bytes, rng: np.random.Generator) -> bytes:
    """Return a mutant: some bytes changed, perhaps a stretch repeated, inserted or cut off."""
    mutant = bytearray(clean)
    for at in rng.integers(0, len(mutant), rng.integers(1, 9)):
        mutant[at] = rng.integers(0, 256)
    how = rng.random()
    start, end = sorted(int(at) for at in rng.integers(0, len(mutant), 2))
    if how < 0.15:
        mutant = mutant[:start]
    elif how < 0.3:
        mutant[start:start] = mutant[start:end]
    elif how < 0.4:
        del mutant[start:end]
    elif how < 0.5:
        mutant[start:start] = rng.bytes(int(rng.integers(1, 64)))
    return bytes(mutant)


def mutate_sheet(clean: bytes, rng: np.random.Generator) -> bytes:
    """Return a workbook with one mutated part, in most cases the sheet, packed anew."""
    with zipfile.ZipFile(io.BytesIO(clean)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    chosen = "xl/worksheets/sheet1.xml"
    if rng.random() < 0.3:
        chosen = sorted(parts)[int(rng.integers(len(parts)))]
    parts[chosen] = (
        mutate_digits(parts[chosen], rng) if rng.random() < 0.4 else mutate(parts[chosen], rng)
    )
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return packed.getvalue()


def mutate_digits(clean: bytes, rng: np.random.Generator) -> bytes:
    """Return a mutant whose text is still well formed: up to three digits become up to eight."""
    mutant = bytearray(clean)
    places = [at for at, byte in enumerate(mutant) if 48 <= byte <= 57]
    for at in sorted(rng.choice(places, 3), reverse=True) if places else ():
        mutant[at : at + 1] = bytes(rng.integers(48, 58, rng.integers(1, 9)).astype(np.uint8))
    return bytes(mutant)


def mutate_text(clean: bytes, rng: np.random.Generator) -> bytes:
    """Return a mutant of a text: characters of the syntax, words and lines moved or repeated."""
    lines = clean.decode().splitlines()
    for _ in range(int(rng.integers(1, 4))):
        at = int(rng.integers(len(lines)))
        words = re.split(r"(\W)", lines[at])
        which = int(rng.integers(len(words)))
        match int(rng.integers(6)):
            case 0:
                words[which] = str(rng.choice(ODD_WORDS))
            case 1:
                del words[which]
            case 2:
                words.insert(which, str(rng.choice(ODD_WORDS)))
            case 3:
                words[which] = words[which] * int(rng.integers(2, 4))
            case 4:
                other = lines[int(rng.integers(len(lines)))]
                lines.insert(at, other)
                continue
            case _:
                words = [mutate_digits(lines[at].encode(), rng).decode()]
        lines[at] = "".join(words)
    return "\n".join(lines).encode() + b"\n"


def mutate_values(clean: bytes, rng: np.random.Generator) -> bytes:
    """Return a table whose cells are numbers still: some other ones, rows lost or repeated."""
    head, *rows = clean.decode().splitlines()
    start, end = sorted(int(at) for at in rng.integers(0, len(rows), 2))
    column = int(rng.integers(head.count(",") + 1))
    how = int(rng.integers(7))
    factor = float(rng.choice([0, -1, 1e-3, 1e3, 1e12, 1e29, 57.29578]))
    changed = []
    for row in rows[start:end]:
        cells = row.split(",")
        value = float(cells[column])
        match how:
            case 0:
                value *= factor
            case 1:
                value += factor
            case 2:
                value = factor
            case 3:
                value = float(rng.normal(value, abs(factor)))
            case 4:
                value = round(value, int(rng.integers(-2, 2)))
            case 5:
                cells[column] = ""
        if how != 5:
            cells[column] = repr(value)
        changed.append(",".join(cells))
    if how == 6:
        changed = changed * int(rng.integers(0, 3))
    return "\n".join([head, *rows[:start], *changed, *rows[end:]]).encode() + b"\n"


ODD_WORDS = (
    "", "0", "-1", "1e29", "1e308", "nan", "inf", "true", "[]", "{}", "[1]", '"', "=", ".", ",",
    "angle", "knee", "events", "trigger", "indoor", "walk.csv", "..", "\u202e", "\x1b", "99999999",
)  # fmt: skip


def write_study(folder: Path) -> dict[str, Path]:
    """Write 40 s of an invented knee and a study of it; return the files by kind."""
    rng = np.random.default_rng(3)
    t = np.arange(0, 40, 0.02)
    knee = 30 + 30 * np.sin(2 * np.pi * t / 1.1) + 12 * np.sin(4 * np.pi * t / 1.1)
    seen = {"a_deg": knee + 1.5, "b_deg": knee - 2.0, "knee_deg": knee}
    noisy = {key: values + 0.3 * rng.standard_normal(t.size) for key, values in seen.items()}
    pd.DataFrame({"time_s": t, **noisy}).round(3).to_csv(folder / "walk.csv", index=False)
    (folder / "study.toml").write_text(STUDY)
    (folder / "trials.csv").write_text(TRIALS)
    return {**{name: folder / name for name in STUDY_KINDS[:2]}, "values": folder / "walk.csv"}


def processor_s() -> float:
    """Return the seconds of the processor that this process and its children have used."""
    return sum(os.times()[:4])


@dataclass
class Tally:
    """What became of the mutants of one worker."""

    kind: str
    seed: int
    read: int = 0
    refused: int = 0
    analysed: int = 0
    slowest_s: float = 0.0

    def bad(self, number: int, text: str) -> None:
        """Print a bad end."""
        print(f"BAD {self.kind} seed {self.seed} mutant {number}: {text}")

    def attempt(self, number: int, work: Callable[[], object], names: tuple[str, ...]) -> None:
        """Do what may end in a message that holds one of the names, and in nothing else."""
        start = processor_s()
        try:
            work()
            self.read += 1
        except TwinangleError as error:
            self.refused += 1
            if not any(name in str(error) for name in names):
                self.bad(number, f"unnamed: {error}")
        except BaseException as error:
            self.bad(number, f"{type(error).__name__}: {error}")
        took = processor_s() - start
        self.slowest_s = max(self.slowest_s, took)
        if took > (SLOW_ANALYSIS_S if self.kind in STUDY_KINDS else SLOW_S):
            self.bad(number, f"took {took:.1f} s")


def worker(kind: str, seed: int, count: int) -> None:
    """Try `count` mutants; print a line for each bad end, then the totals."""
    rng = np.random.default_rng(seed)
    tally = Tally(kind, seed)
    with tempfile.TemporaryDirectory() as name:
        (try_studies if kind in STUDY_KINDS else try_files)(tally, Path(name), rng, count)
    print(f"DONE {tally.read} {tally.refused} {tally.analysed} {tally.slowest_s:.3f}")


def try_files(tally: Tally, folder: Path, rng: np.random.Generator, count: int) -> None:
    """Read or describe mutants of one recording."""
    path = write(tally.kind, folder)
    clean = path.read_bytes()

    def read() -> None:
        read_recording(path, columns=["acc_x", "acc_z"], time="time_s")

    read()
    limit_process(MEMORY_BYTES, 3600)
    change = mutate_sheet if tally.kind == "xlsx-unpacked" else mutate
    for number in range(count):
        path.write_bytes(change(clean, rng))
        described = number % 10 == 0
        tally.attempt(
            number, (lambda: str(describe_file(path))) if described else read, (path.name,)
        )


def try_studies(tally: Tally, folder: Path, rng: np.random.Generator, count: int) -> None:
    """Read mutants of a study, and analyse those that are read."""
    from twinangle.analysis import run_study
    from twinangle.results.serialise import to_text

    path = write_study(folder)[tally.kind]
    clean = path.read_bytes()
    to_text(run_study(read_study(folder)))
    limit_process(MEMORY_BYTES, 3600)
    change = mutate_values if tally.kind == "values" else mutate_text
    names = ("study.toml", "trials", "walk.csv")
    for number in range(count):
        path.write_bytes(change(clean, rng))
        found = []

        def work() -> None:
            study = read_study(folder)
            found.append(run_study(study))  # noqa: B023 - called at once
            to_text(found[0])  # noqa: B023

        tally.attempt(number, work, names)
        for results in found:
            reasons = {trial.reason for trial in results.trials if trial.status == "failed"}
            tally.analysed += any(trial.status == "ok" for trial in results.trials)
            for reason in reasons:
                if "unexpected" in reason:
                    tally.bad(number, reason)


def run_kind(kind: str, total: int, ends_at: float) -> tuple[int, str]:
    """Try one kind in workers of its own; return the number of bad ends and the line to print."""
    batch = 20 if kind in STUDY_KINDS else 100 if kind == "mat-7.3" else 500
    wanted = total // 40 if kind in STUDY_KINDS else total // (len(WRITERS) - 1)
    wanted = max(batch, min(wanted, 300) if kind == "mat-7.3" else wanted)
    counts, slowest, bad, tried = np.zeros(3, int), 0.0, 0, 0
    for seed in range(-(-wanted // batch)):
        if time.monotonic() > ends_at:
            break
        tried += batch
        command = [sys.executable, __file__, "--worker", kind, str(seed), str(batch)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        lines = done.stdout.splitlines()
        found = [line for line in lines if line.startswith("BAD")]
        totals = [line.split() for line in lines if line.startswith("DONE")]
        if totals:
            counts += [int(each) for each in totals[0][1:4]]
            slowest = max(slowest, float(totals[0][4]))
        else:
            found += [f"BAD {kind} seed {seed}: ended with {done.returncode}", done.stderr[-500:]]
        bad += len(found)
        print("\n".join(found), end="\n" if found else "", flush=True)
    read, refused, analysed = counts
    line = f"{kind:<13} read {read:>6}  refused {refused:>6}"
    line += f"  analysed {analysed:>6}" if kind in STUDY_KINDS else ""
    line += f"  slowest {slowest:.3f} s"
    return bad, line + (f"  (time was up after {tried} of {wanted})" if tried < wanted else "")


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("total", nargs="?", type=int, default=20_000)
    parser.add_argument("--seconds", type=float, default=float("inf"))
    parser.add_argument("--only", nargs="+", choices=[*STUDY_KINDS, *WRITERS])
    given = parser.parse_args()
    kinds = given.only or [*STUDY_KINDS, *WRITERS]
    begun, bad = time.monotonic(), 0
    for done, kind in enumerate(kinds):
        left = given.seconds - (time.monotonic() - begun)  # each kind gets its part of the rest
        found, line = run_kind(kind, given.total, time.monotonic() + left / (len(kinds) - done))
        bad += found
        print(line, flush=True)
    print(f"{bad} bad ends")
    return int(bad > 0)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--worker"]:
        worker(sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
    else:
        sys.exit(main())
