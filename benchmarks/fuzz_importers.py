"""Mutated recordings through every importer: always a recording or a message, never more.

    python benchmarks/fuzz_importers.py [N]

Writes one small recording in each format, mutates it N times over all (20,000 unless said
otherwise; bytes changed, inserted, repeated, cut), and reads each mutant in a worker with 1 GiB of
memory beyond its start; every tenth is described instead, which reads all its channels. A
workbook is mutated as it stands (its checksums then tell), and unpacked. MATLAB 7.3 has 300
mutants, because each is read in a process of its own. Prints, for each format, how many were read
and how many refused, the slowest in seconds of the processor (whatever else the machine does),
and every mutant that ended otherwise: another exception, a message that does not name the file,
more than 5 s, a worker that died. Exit status 1 if there is any.
"""

from __future__ import annotations

import io
import resource
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

import numpy as np
import pandas as pd

CHANNELS = ("acc_x", "acc_y", "acc_z")
RATE_HZ = 50
SLOW_S = 5.0


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


def processor_s() -> float:
    """Return the seconds of the processor that this process and its children have used."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in used)


def worker(kind: str, seed: int, count: int) -> None:
    """Read `count` mutants; print a line for each bad end, then the totals."""
    from twinangle.errors import TwinangleError
    from twinangle.formats import describe_file, read_recording

    rng = np.random.default_rng(seed)
    read, refused, slowest = 0, 0, 0.0
    with tempfile.TemporaryDirectory() as name:
        path = write(kind, Path(name))
        clean = path.read_bytes()
        read_recording(path, columns=["acc_x", "acc_z"], time="time_s")
        used = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (used + 2**30, used + 2**30))
        change = mutate_sheet if kind == "xlsx-unpacked" else mutate
        for number in range(count):
            path.write_bytes(change(clean, rng))
            start = processor_s()
            try:
                if number % 10 == 0:
                    str(describe_file(path))
                else:
                    read_recording(path, columns=["acc_x", "acc_z"], time="time_s")
                read += 1
            except TwinangleError as error:
                refused += 1
                if path.name not in str(error):
                    print(f"BAD {kind} seed {seed} mutant {number}: unnamed: {error}")
            except BaseException as error:
                print(f"BAD {kind} seed {seed} mutant {number}: {type(error).__name__}: {error}")
            took = processor_s() - start
            slowest = max(slowest, took)
            if took > SLOW_S:
                print(f"BAD {kind} seed {seed} mutant {number}: took {took:.1f} s")
    print(f"DONE {read} {refused} {slowest:.3f}")


def main(total: int) -> int:
    bad = 0
    for kind in WRITERS:
        read, refused, slowest = 0, 0, 0.0
        batch = 100 if kind == "mat-7.3" else 500
        n_batches = 3 if kind == "mat-7.3" else max(1, round(total / (len(WRITERS) - 1) / batch))
        for seed in range(n_batches):
            command = [sys.executable, __file__, kind, str(seed), str(batch)]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            lines = done.stdout.splitlines()
            found = [line for line in lines if line.startswith("BAD")]
            totals = [line.split() for line in lines if line.startswith("DONE")]
            if not totals:
                found.append(f"BAD {kind} seed {seed}: worker ended with {done.returncode}")
                found.append(done.stderr[-500:])
            else:
                read, refused = read + int(totals[0][1]), refused + int(totals[0][2])
                slowest = max(slowest, float(totals[0][3]))
            bad += len(found)
            print("\n".join(found), end="\n" if found else "")
        print(
            f"{kind:<13} read {read:>6}  refused {refused:>6}  slowest {slowest:.3f} s", flush=True
        )
    print(f"{bad} bad ends")
    return int(bad > 0)


if __name__ == "__main__":
    if len(sys.argv) == 4:
        worker(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
    else:
        sys.exit(main(int(sys.argv[1]) if len(sys.argv) == 2 else 20_000))
