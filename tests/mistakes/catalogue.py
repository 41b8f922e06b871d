"""The catalogue of mistakes: how each is made, and what becomes of it.

`docs/reference/mistakes.md` is written from these rows (`python benchmarks/mistakes.py --write`).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd
from scene import FUNCTIONAL_S, WALKING_S, Scene
from scipy import signal
from scipy.spatial.transform import Rotation

Outcome = Literal["told", "harmless", "cannot be known"]
AXES, UNITS, FILES, PEOPLE = "axes", "units", "files", "people"
TIMES, STANDING, SETTINGS, INSTRUMENTS = "times", "standing", "settings", "instruments"
AREAS = (AXES, UNITS, FILES, PEOPLE, TIMES, STANDING, SETTINGS, INSTRUMENTS)
XYZ = ("x", "y", "z")


@dataclass(frozen=True)
class Mistake:
    """One row: a mistake in words, the function that makes it, and what has to come of it.

    `words` must stand in one message; `reason` says why a mistake cannot be known, or why it does
    no harm. `run` says whether numbers are computed for it; `slow` that only the benchmark does.
    """

    name: str
    area: str
    what: str
    inject: Callable[[Scene], None]
    outcome: Outcome = "told"
    words: tuple[str, ...] = ()
    reason: str = ""
    run: bool = True
    slow: bool = False
    everyone: bool = False
    walk_s: float = 30.0


def channels(segment: str, instrument: str) -> list[str]:
    """Return the three columns of one instrument."""
    return [f"{segment}_{instrument}_{axis}" for axis in XYZ]


def remap(segment: str, instrument: str, order: str) -> Callable[[Scene], None]:
    """Return the mistake of other axes, such as "yxz" or "x-yz"."""
    signs, axes, sign = [], [], 1.0
    for letter in order:
        if letter == "-":
            sign = -1.0
            continue
        axes.append(XYZ.index(letter))
        signs.append(sign)
        sign = 1.0

    def inject(scene: Scene) -> None:
        def change(frame: pd.DataFrame) -> None:
            names = channels(segment, instrument)
            frame[names] = frame[names].to_numpy()[:, axes] * signs

        scene.signals(scene.wearable, change)

    return inject


def both(*mistakes: Callable[[Scene], None]) -> Callable[[Scene], None]:
    """Return several mistakes at once."""

    def inject(scene: Scene) -> None:
        for mistake in mistakes:
            mistake(scene)

    return inject


def scaled(names: Sequence[str], factor: float) -> Callable[[Scene], None]:
    """Return the mistake of another scale of the wearable's columns."""

    def inject(scene: Scene) -> None:
        def change(frame: pd.DataFrame) -> None:
            frame[list(names)] *= factor

        scene.signals(scene.wearable, change)

    return inject


ACC, GYR, MAG = (
    [*channels("thigh", each), *channels("shank", each)] for each in ("acc", "gyr", "mag")
)


def toml(old: str, new: str) -> Callable[[Scene], None]:
    """Return a mistake in the study file."""
    return lambda scene: scene.toml(old, new)


def cell(column: str, value: str, row: int = 0) -> Callable[[Scene], None]:
    """Return a mistake in the trials table."""
    return lambda scene: scene.cell(column, value, row)


def angle(change: Callable[[np.ndarray, np.ndarray], np.ndarray]) -> Callable[[Scene], None]:
    """Return a mistake of the reference's angle: a function of times and angles."""

    def inject(scene: Scene) -> None:
        def edit(frame: pd.DataFrame) -> None:
            frame["knee_deg"] = change(frame["time_s"].to_numpy(), frame["knee_deg"].to_numpy())

        scene.signals(scene.reference, edit)

    return inject


def times(which: str, change: Callable[[np.ndarray], np.ndarray]) -> Callable[[Scene], None]:
    """Return a mistake of a file's times."""

    def inject(scene: Scene) -> None:
        def edit(frame: pd.DataFrame) -> None:
            frame["time_s"] = change(frame["time_s"].to_numpy())

        scene.signals(getattr(scene, which), edit)

    return inject


def rows_lost(which: str, start_s: float, lost_s: float, *, even: bool) -> Callable[[Scene], None]:
    """Return the mistake of lost samples; `even`: the times go on as if nothing were lost."""

    def inject(scene: Scene) -> None:
        def edit(frame: pd.DataFrame) -> pd.DataFrame:
            time = frame["time_s"].to_numpy()
            kept = frame[(time < start_s) | (time >= start_s + lost_s)].copy()
            if even:
                kept["time_s"] = time[: len(kept)]
            return kept

        scene.signals(getattr(scene, which), edit)

    return inject


def turned_after(segment: str, at_s: float, degrees: float) -> Callable[[Scene], None]:
    """Return a sensor that turns on its segment, about its own x axis, from a time on."""

    def inject(scene: Scene) -> None:
        def edit(frame: pd.DataFrame) -> None:
            later = frame["time_s"].to_numpy() >= at_s
            turn = Rotation.from_rotvec([np.radians(degrees), 0, 0])
            for instrument in ("acc", "gyr", "mag"):
                names = channels(segment, instrument)
                values = frame[names].to_numpy()
                values[later] = turn.apply(values[later])
                frame[names] = values

        scene.signals(scene.wearable, edit)

    return inject


def clipped(names: Sequence[str], level: float) -> Callable[[Scene], None]:
    """Return channels that end at a level."""

    def inject(scene: Scene) -> None:
        def edit(frame: pd.DataFrame) -> None:
            frame[list(names)] = frame[list(names)].clip(-level, level)

        scene.signals(scene.wearable, edit)

    return inject


def copied(source: str, target: str) -> Callable[[Scene], None]:
    """Return one file in another's place, both relative to the study."""

    def inject(scene: Scene) -> None:
        (scene.folder / target).write_bytes((scene.folder / source).read_bytes())

    return inject


def lines(which: str, change: Callable[[list[str]], list[str]]) -> Callable[[Scene], None]:
    """Return a mistake in the lines of a file."""

    def inject(scene: Scene) -> None:
        path: Path = getattr(scene, which)
        scene.text(path, lambda text: "\n".join(change(text.splitlines())) + "\n")

    return inject


def in_line(number: int, change: Callable[[str], str]) -> Callable[[list[str]], list[str]]:
    """Return a change of one line."""
    return lambda found: [change(line) if k == number else line for k, line in enumerate(found)]


def continental(found: list[str]) -> list[str]:
    return [line.replace(",", ";").replace(".", ",") for line in found]


def comma_everywhere(found: list[str]) -> list[str]:
    return [found[0], *(line.replace(".", ",") for line in found[1:])]


def without_gravity(scene: Scene) -> None:
    """Take the slow part, as a device does that gives linear acceleration."""

    def edit(frame: pd.DataFrame) -> None:
        low = signal.butter(1, 0.3, fs=100, output="sos")
        frame[ACC] -= signal.sosfiltfilt(low, frame[ACC].to_numpy(), axis=0)

    scene.signals(scene.wearable, edit)


def other_persons_shank(scene: Scene) -> None:
    other = pd.read_csv(scene.folder / "wearable" / "P02_indoor.csv")

    def edit(frame: pd.DataFrame) -> None:
        for instrument in ("acc", "gyr", "mag"):
            names = channels("shank", instrument)
            n = min(len(frame), len(other))
            frame.loc[: n - 1, names] = other.loc[: n - 1, names].to_numpy()

    scene.signals(scene.wearable, edit)


def late_shank(scene: Scene, samples: int = 30) -> None:
    def edit(frame: pd.DataFrame) -> pd.DataFrame:
        names = [name for name in frame if name.startswith("shank")]
        frame[names] = frame[names].shift(samples)
        return frame.iloc[samples:]

    scene.signals(scene.wearable, edit)


def swapped_paths(scene: Scene) -> None:
    def change(table: pd.DataFrame) -> None:
        table[["wearable", "reference"]] = table[["reference", "wearable"]].to_numpy()

    scene.table(change)


def swapped_segments(scene: Scene) -> None:
    def edit(frame: pd.DataFrame) -> pd.DataFrame:
        other = {"thigh": "shank", "shank": "thigh"}
        return frame.rename(columns=lambda name: other.get(name[:5], name[:5]) + name[5:])

    scene.signals(scene.wearable, edit)


def renamed_file(name: str) -> Callable[[Scene], None]:
    def inject(scene: Scene) -> None:
        scene.wearable.rename(scene.folder / "wearable" / name)
        scene.cell("wearable", f"wearable/{name}")

    return inject


def second_row(**changes: str) -> Callable[[Scene], None]:
    """Return the first recording once more, in a row of its own."""

    def inject(scene: Scene) -> None:
        def change(table: pd.DataFrame) -> pd.DataFrame:
            again = table.iloc[:1].assign(**changes)
            return pd.concat([table.iloc[:1], again])

        scene.table(change)

    return inject


def online_filter(time: np.ndarray, values: np.ndarray) -> np.ndarray:
    low = signal.butter(2, 2.5, fs=200, output="sos")
    start = signal.sosfilt_zi(low) * values[0]
    return np.asarray(signal.sosfilt(low, values, zi=start)[0])


def slipped(time: np.ndarray, values: np.ndarray) -> np.ndarray:
    return values + 9.0 * (time > WALKING_S + 10)


def dead(time: np.ndarray, values: np.ndarray) -> np.ndarray:
    held = values.copy()
    inside = (time > WALKING_S + 5) & (time < WALKING_S + 9)
    held[inside] = values[inside][0]
    return held


def second_knee(time: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Return the other leg's angle: half a stride later in walking, still before it."""
    later = np.interp(time - 0.55, time, values)
    return np.where(time < WALKING_S - 4, values[:100].mean(), later)


MISTAKES: tuple[Mistake, ...] = (
    # axes
    Mistake(
        "thigh-gyroscope-axes-swapped",
        AXES,
        "thigh gyroscope: x and y swapped",
        remap("thigh", "gyr", "yxz"),
        words=("proximal", "gyroscope"),
    ),
    Mistake(
        "thigh-gyroscope-axes-turned",
        AXES,
        "thigh gyroscope: z, x, y for x, y, z",
        remap("thigh", "gyr", "zxy"),
        words=("proximal", "gyroscope"),
    ),
    Mistake(
        "shank-gyroscope-z-flipped",
        AXES,
        "shank gyroscope: z negated",
        remap("shank", "gyr", "xy-z"),
        words=("distal", "gyroscope"),
    ),
    Mistake(
        "shank-gyroscope-negated",
        AXES,
        "shank gyroscope: all three axes negated",
        remap("shank", "gyr", "-x-y-z"),
        words=("distal", "gyroscope"),
    ),
    Mistake(
        "thigh-accelerometer-x-flipped",
        AXES,
        "thigh accelerometer: x negated",
        remap("thigh", "acc", "-xyz"),
        words=("proximal", "accelerometer"),
    ),
    Mistake(
        "shank-accelerometer-axes-swapped",
        AXES,
        "shank accelerometer: y and z swapped",
        remap("shank", "acc", "xzy"),
        words=("distal", "accelerometer"),
    ),
    Mistake(
        "thigh-accelerometer-negated",
        AXES,
        "thigh accelerometer: all three axes negated",
        remap("thigh", "acc", "-x-y-z"),
        words=("run against each other", "accelerometer"),
    ),
    Mistake(
        "shank-accelerometer-negated",
        AXES,
        "shank accelerometer: all three axes negated",
        remap("shank", "acc", "-x-y-z"),
        words=("run against each other", "accelerometer"),
    ),
    Mistake(
        "thigh-magnetometer-x-flipped",
        AXES,
        "thigh magnetometer: x negated",
        remap("thigh", "mag", "-xyz"),
        words=("proximal", "magnetometer"),
    ),
    Mistake(
        "shank-magnetometer-axes-swapped",
        AXES,
        "shank magnetometer: x and z swapped",
        remap("shank", "mag", "zyx"),
        words=("distal", "magnetometer"),
    ),
    Mistake(
        "both-accelerometers-negated",
        AXES,
        "both accelerometers negated on all axes",
        scaled(ACC, -1.0),
        "cannot be known",
        reason="up and down are exchanged for both sensors alike; the world upside down obeys "
        "the same mechanics. With magnetometers the dip tells on which hemisphere it would be, "
        "which nobody states.",
    ),
    Mistake(
        "both-magnetometers-negated",
        AXES,
        "both magnetometers negated on all axes",
        scaled(MAG, -1.0),
        "harmless",
        reason="north and south are exchanged for both sensors; the angle between them stays.",
    ),
    Mistake(
        "one-sensor-turned-as-a-whole",
        AXES,
        "thigh sensor: all instruments x, −z, y for x, y, z, the same right-handed turn",
        both(*(remap("thigh", each, "x-zy") for each in ("acc", "gyr", "mag"))),
        "harmless",
        reason="the mounting is found from standing and movement.",
    ),
    Mistake(
        "sensors-swapped",
        AXES,
        "thigh and shank sensor exchanged",
        swapped_segments,
        words=("swapped",),
    ),
    Mistake(
        "reference-negative",
        AXES,
        "flexion negative in the reference, `sign` left at 1",
        angle(lambda t, x: -x),
        words=("sign", "inverted"),
    ),
    # units
    Mistake(
        "gyroscope-in-degrees",
        UNITS,
        "gyroscope in °/s, declared as rad/s",
        scaled(GYR, 57.29578),
        words=("deg/s",),
        run=False,
    ),
    Mistake(
        "gyroscope-in-radians",
        UNITS,
        "gyroscope in rad/s, declared as deg/s",
        toml('gyroscope = "rad/s"', 'gyroscope = "deg/s"'),
        words=("rad/s",),
        run=False,
    ),
    Mistake(
        "accelerometer-in-g",
        UNITS,
        "accelerometer in g, declared as m/s²",
        scaled(ACC, 1 / 9.80665),
        words=('"g"',),
        run=False,
    ),
    Mistake(
        "accelerometer-declared-g",
        UNITS,
        "accelerometer in m/s², declared as g",
        toml('accelerometer = "m/s^2"', 'accelerometer = "g"'),
        words=("m/s^2",),
        run=False,
    ),
    Mistake(
        "magnetometer-in-gauss",
        UNITS,
        "magnetometer in gauss, declared as µT",
        scaled(MAG, 0.01),
        words=("gauss",),
        run=False,
    ),
    Mistake(
        "reference-in-radians",
        UNITS,
        "reference in radians, declared as degrees",
        angle(lambda t, x: np.radians(x)),
        words=('"rad"',),
    ),
    Mistake(
        "reference-declared-radians",
        UNITS,
        "reference in degrees, declared as radians",
        toml('unit = "deg"', 'unit = "rad"'),
        words=("'deg'",),
    ),
    Mistake(
        "times-in-milliseconds",
        UNITS,
        "the wearable's times in milliseconds",
        times("wearable", lambda t: 1000 * t),
        words=("ms",),
        run=False,
    ),
    Mistake(
        "reference-times-in-milliseconds",
        UNITS,
        "the reference's times in milliseconds",
        times("reference", lambda t: 1000 * t),
        words=("ms",),
        run=False,
    ),
    Mistake(
        "times-in-minutes",
        UNITS,
        "the wearable's times in minutes",
        times("wearable", lambda t: t / 60),
        words=("0.95 s", "clock"),
        run=False,
    ),
    Mistake(
        "reference-gain-doubled",
        UNITS,
        "the reference's gain twice the true one",
        angle(lambda t, x: 2 * x),
        words=("gain",),
    ),
    Mistake(
        "reference-gain-tenth-off",
        UNITS,
        "the reference's gain 8 % too large",
        angle(lambda t, x: 1.08 * x),
        "cannot be known",
        reason="soft tissue makes the two instruments differ by up to 13 % in honest "
        "recordings; a smaller difference is what the study measures.",
    ),
    # files
    Mistake(
        "wearable-and-reference-swapped",
        FILES,
        "wearable's and reference's file exchanged",
        swapped_paths,
        words=("has no column",),
        run=False,
    ),
    Mistake(
        "reference-of-another-person",
        FILES,
        "the reference's file of another participant",
        copied("reference/P02_indoor.csv", "reference/P01_indoor.csv"),
        words=("which cycle is which",),
    ),
    Mistake(
        "reference-of-another-walk",
        FILES,
        "the reference beside another walk of the person",
        copied("wearable/P01_outdoor.csv", "wearable/P01_indoor.csv"),
        words=("which cycle is which",),
    ),
    Mistake(
        "file-under-two-people",
        FILES,
        "one recording under two participants' codes",
        second_row(participant="P09"),
        words=("P01", "P09"),
        run=False,
    ),
    Mistake(
        "file-under-two-conditions",
        FILES,
        "one recording under two conditions",
        second_row(condition="outdoor"),
        words=("indoor", "outdoor"),
        run=False,
    ),
    Mistake(
        "copy-under-another-name",
        FILES,
        "a copy of a recording as another participant's",
        copied("wearable/P01_indoor.csv", "wearable/P02_indoor.csv"),
        words=("P01", "P02"),
        run=False,
        everyone=True,
    ),
    Mistake(
        "reference-cut-short",
        FILES,
        "the reference's file holds a third of the recording",
        lines("reference", lambda found: found[: len(found) // 3]),
        words=("both are of one trial",),
        run=False,
    ),
    Mistake(
        "stray-quote",
        FILES,
        "a stray quotation mark in a cell",
        lines("wearable", in_line(1500, lambda line: '"' + line)),
        words=("quot", "row"),
        run=False,
    ),
    Mistake(
        "decimal-commas-between-commas",
        FILES,
        "decimal commas in a file separated by commas",
        lines("reference", comma_everywhere),
        words=("row",),
        run=False,
    ),
    Mistake(
        "continental-file",
        FILES,
        "semicolons and decimal commas",
        lines("wearable", continental),
        "harmless",
        reason="the separator is found by rows of equal length.",
    ),
    Mistake(
        "header-with-a-trailing-separator",
        FILES,
        "a separator at the end of the header",
        lines("wearable", in_line(0, lambda line: line + ",")),
        "harmless",
        reason="a last column without a name and without a value is none.",
    ),
    Mistake(
        "rows-missing",
        FILES,
        "0.5 s of rows missing, the times tell",
        rows_lost("wearable", WALKING_S + 8, 0.5, even=False),
        "harmless",
        reason="a gap stays a gap; the cycles that it touches are left out with the reason.",
    ),
    Mistake(
        "row-stored-twice",
        FILES,
        "a row stored twice",
        lines("wearable", lambda found: [*found[:2000], found[1999], *found[2000:]]),
        "harmless",
        reason="it is left out, and a note says so.",
    ),
    Mistake(
        "header-missing",
        FILES,
        "the column names are missing",
        lines("wearable", lambda found: found[1:]),
        words=("column",),
        run=False,
    ),
    Mistake(
        "file-empty",
        FILES,
        "the file is empty",
        lines("wearable", lambda found: []),
        words=("P01_indoor.csv",),
        run=False,
    ),
    Mistake(
        "file-absent",
        FILES,
        "the file is not there",
        lambda scene: scene.wearable.unlink(),
        words=("P01_indoor.csv",),
        run=False,
    ),
    Mistake(
        "last-row-cut",
        FILES,
        "the last row was cut off while writing",
        lines("wearable", lambda found: [*found[:-1], found[-1][:20]]),
        words=("incomplete", "row"),
        run=False,
    ),
    Mistake(
        "absurd-value",
        FILES,
        "1e308 in a cell",
        lines("reference", in_line(900, lambda line: line.split(",")[0] + ",1e308")),
        words=("308", "knee_deg"),
        run=False,
    ),
    Mistake(
        "word-in-a-cell",
        FILES,
        "a word where a number should be",
        lines("reference", in_line(900, lambda line: line.split(",")[0] + ",overload")),
        words=("overload",),
        run=False,
    ),
    Mistake(
        "rows-out-of-order",
        FILES,
        "two blocks of rows exchanged",
        lines(
            "reference", lambda found: [found[0], *found[3000:5000], *found[1:3000], *found[5000:]]
        ),
        words=("time_s",),
        run=False,
    ),
    Mistake(
        "channel-dead",
        FILES,
        "a channel that holds one value throughout",
        lambda scene: scene.signals(scene.wearable, lambda frame: frame.assign(shank_gyr_y=0.0)),
        words=("shank_gyr_y",),
        run=False,
    ),
    # people
    Mistake(
        "two-spellings-of-a-code",
        PEOPLE,
        "P01 in one row, p01 in another",
        cell("participant", "p01", 1),
        words=("p01", "P01"),
        run=False,
        everyone=True,
    ),
    Mistake(
        "name-as-code",
        PEOPLE,
        "a name as the participant's code",
        cell("participant", "Anna Beispiel"),
        words=("looks like a person's name",),
        run=False,
    ),
    Mistake(
        "date-in-a-file-name",
        PEOPLE,
        "a date of birth in a file's name",
        renamed_file("P01_1980-05-17.csv"),
        words=("date",),
        run=False,
    ),
    Mistake(
        "name-in-a-file-name",
        PEOPLE,
        "a person's name in a file's name",
        renamed_file("Anna Beispiel.csv"),
        words=("name",),
        run=False,
    ),
    Mistake(
        "shank-of-another-person",
        PEOPLE,
        "the shank sensor of another person's walk",
        other_persons_shank,
        words=("sensor",),
    ),
    Mistake(
        "reference-on-the-other-leg",
        PEOPLE,
        "the reference worn on the other leg",
        angle(second_knee),
        words=("reference",),
    ),
    Mistake(
        "side-exchanged-in-the-table",
        PEOPLE,
        "left entered as right",
        cell("side", "right"),
        "harmless",
        reason="a goniometer's angle and the sensors' depend on no side; of markers the side "
        "decides the axes, and a wrong one is refused as a wrong sign.",
    ),
    Mistake("row-twice", PEOPLE, "the same row twice", second_row(), words=("row",), run=False),
    # times
    Mistake(
        "samples-lost-wearable",
        TIMES,
        "0.5 s lost in the wearable, times go on evenly",
        rows_lost("wearable", WALKING_S + 14, 0.5, even=True),
        words=("lost",),
    ),
    Mistake(
        "samples-lost-reference",
        TIMES,
        "0.1 s lost in the reference, times go on evenly",
        rows_lost("reference", WALKING_S + 14, 0.1, even=True),
        words=("lost",),
    ),
    Mistake(
        "drift-of-two-per-mille",
        TIMES,
        "the reference's clock runs 2,000 ppm fast",
        times("reference", lambda t: t * 1.002),
        words=("ppm",),
    ),
    Mistake(
        "rate-one-percent-off",
        TIMES,
        "the reference's rate is stated 1 % too low",
        times("reference", lambda t: t * 1.01),
        words=("reference",),
    ),
    Mistake(
        "lag-out-of-reach",
        TIMES,
        "the lag lies outside the range searched",
        toml("max_lag_s = 30.0", "max_lag_s = 1.0"),
        words=("max_lag_s",),
    ),
    Mistake(
        "lag-stated-a-minute-off",
        TIMES,
        "expected_lag_s is a quarter of an hour off",
        toml("max_lag_s = 30.0", "max_lag_s = 30.0\nexpected_lag_s = 900.0"),
        words=("record together",),
        run=False,
    ),
    Mistake(
        "clock-not-shared",
        TIMES,
        "`shared-clock` where the clocks are 2 s apart",
        toml('method = "cross-correlation"', 'method = "shared-clock"'),
        words=("clock",),
    ),
    Mistake(
        "shank-late", TIMES, "the shank sensor's samples 0.3 s late", late_shank, words=("sensor",)
    ),
    Mistake(
        "stretch-outside",
        TIMES,
        "the stretch to analyse lies after the recording",
        both(cell("start_s", "500"), cell("end_s", "560")),
        words=("`start_s` and `end_s`",),
        run=False,
    ),
    Mistake(
        "stretch-backwards",
        TIMES,
        "end_s before start_s",
        cell("end_s", "5"),
        words=("end_s",),
        run=False,
    ),
    # standing
    Mistake(
        "standing-while-walking",
        STANDING,
        "neutral standing taken in the walk",
        both(cell("static_start_s", "30"), cell("static_end_s", "34")),
        words=("standing",),
    ),
    Mistake(
        "standing-in-the-movement",
        STANDING,
        "neutral standing in the functional movement",
        both(cell("static_start_s", "11"), cell("static_end_s", "15")),
        words=("standing",),
    ),
    Mistake(
        "standing-half-moving",
        STANDING,
        "neutral standing reaches into the movement",
        cell("static_end_s", f"{FUNCTIONAL_S[0] + 4:g}"),
        words=("standing",),
    ),
    Mistake(
        "standing-outside",
        STANDING,
        "neutral standing after the recording's end",
        both(cell("static_start_s", "500"), cell("static_end_s", "505")),
        words=("static interval",),
        run=False,
    ),
    Mistake(
        "standing-backwards",
        STANDING,
        "static_end_s before static_start_s",
        both(cell("static_start_s", "7"), cell("static_end_s", "1")),
        words=("static",),
        run=False,
    ),
    Mistake(
        "no-standing",
        STANDING,
        "no neutral standing given",
        both(cell("static_start_s", ""), cell("static_end_s", "")),
        words=("standing",),
        run=False,
    ),
    Mistake(
        "movement-without-movement",
        STANDING,
        "functional movement taken in standing",
        both(cell("functional_start_s", "1.5"), cell("functional_end_s", "6")),
        words=("functional movement",),
    ),
    Mistake(
        "no-functional-movement",
        STANDING,
        "no functional movement given",
        both(cell("functional_start_s", ""), cell("functional_end_s", "")),
        words=("no functional movement",),
    ),
    Mistake(
        "standing-two-seconds-off",
        STANDING,
        "standing given on the reference's clock, 2 s off",
        both(cell("static_start_s", "3.0"), cell("static_end_s", "8.5")),
        "harmless",
        reason="the person still stands; where not, standing is refused as moving.",
    ),
    # settings
    Mistake(
        "column-misspelt",
        SETTINGS,
        "a column's name misspelt in the study file",
        toml('"thigh_gyr_x"', '"thigh_gyro_x"'),
        words=("thigh_gyr",),
        run=False,
    ),
    Mistake(
        "axis-named-twice",
        SETTINGS,
        "one column for two axes",
        toml('"thigh_gyr_y"', '"thigh_gyr_x"'),
        words=("gyroscope",),
        run=False,
    ),
    Mistake(
        "columns-of-another-instrument",
        SETTINGS,
        "accelerometer columns as gyroscope",
        toml(
            'gyroscope     = ["thigh_gyr_x", "thigh_gyr_y", "thigh_gyr_z"]',
            'gyroscope     = ["thigh_acc_x", "thigh_acc_y", "thigh_acc_z"]',
        ),
        words=("more than once",),
        run=False,
    ),
    Mistake(
        "key-misspelt",
        SETTINGS,
        "a key of the study file misspelt",
        toml("max_lag_s", "max_lag"),
        words=("max_lag_s",),
        run=False,
    ),
    Mistake(
        "section-misspelt",
        SETTINGS,
        "a section of the study file misspelt",
        toml("[synchronisation]", "[synchronization]"),
        words=("[synchronisation]",),
        run=False,
    ),
    Mistake(
        "procedure-misspelt",
        SETTINGS,
        "a procedure's name misspelt",
        toml('"kalman"', '"kalmann"'),
        words=("kalmann", "'kalman'"),
        run=False,
    ),
    Mistake(
        "procedure-without-its-signals",
        SETTINGS,
        "no magnetometers for a procedure with them",
        both(
            *(
                toml(f'magnetometer  = ["{one}_mag_x", "{one}_mag_y", "{one}_mag_z"]\n', "")
                for one in ("thigh", "shank")
            )
        ),
        words=("needs magnetometers",),
        run=False,
    ),
    Mistake(
        "table-column-misspelt",
        SETTINGS,
        "`refrence` for `reference` in the trials table",
        lambda scene: scene.table(lambda table: table.rename(columns={"reference": "refrence"})),
        words=("refrence", "reference"),
        run=False,
    ),
    Mistake(
        "setting-as-a-column",
        SETTINGS,
        "`max_lag` as a column of the trials table",
        cell("max_lag", "5"),
        words=("max_lag_s",),
        run=False,
    ),
    Mistake(
        "path-as-a-covariate",
        SETTINGS,
        "a column that holds paths of files",
        cell("goniometer", "reference/P01_indoor.csv"),
        words=("goniometer",),
        run=False,
    ),
    Mistake(
        "sign-turned-for-one-trial",
        SETTINGS,
        "`sign` = −1 in a row where it is +1",
        cell("sign", "-1"),
        words=("sign",),
    ),
    Mistake(
        "condition-compared-with-none",
        SETTINGS,
        "`against` names a condition nobody has",
        toml("[agreement]", '[conditions]\nagainst = "indoors"\n\n[agreement]'),
        words=("'indoors'", "'indoor'"),
        run=False,
    ),
    Mistake(
        "gyroscope-sample-misstated",
        SETTINGS,
        "interval means for instantaneous rates",
        toml('gyroscope_sample = "instantaneous"', 'gyroscope_sample = "interval-mean"'),
        "harmless",
        reason="at 100 Hz and a short recording it is half a sample of delay, "
        "which the lag takes up, and tenths of a degree.",
    ),
    Mistake(
        "wrong-kind",
        SETTINGS,
        "the reference declared as markers",
        toml('kind = "angle"', 'kind = "markers"'),
        words=("[reference]",),
        run=False,
    ),
    # instruments
    Mistake(
        "gyroscope-saturated",
        INSTRUMENTS,
        "shank gyroscope cut off at 150 °/s",
        clipped(channels("shank", "gyr"), 2.618),
        words=("saturated", "distal"),
    ),
    Mistake(
        "accelerometer-saturated",
        INSTRUMENTS,
        "shank accelerometer cut off at 14 m/s²",
        clipped(channels("shank", "acc"), 14.0),
        words=("saturated",),
    ),
    Mistake(
        "reference-saturated",
        INSTRUMENTS,
        "the reference cut off at 45°",
        angle(lambda t, x: np.minimum(x, 45)),
        words=("saturat",),
    ),
    Mistake(
        "reference-unplugged",
        INSTRUMENTS,
        "the reference holds one value for 4 s",
        angle(dead),
        words=("disconnected",),
    ),
    Mistake(
        "reference-slipped",
        INSTRUMENTS,
        "the reference slips by 9° in the walk",
        angle(slipped),
        words=("slip",),
    ),
    Mistake(
        "reference-filtered-on-line",
        INSTRUMENTS,
        "the reference's on-line filter at 2.5 Hz",
        angle(online_filter),
        words=("low-pass",),
    ),
    Mistake(
        "sensor-slipped",
        INSTRUMENTS,
        "the shank sensor turns by 20° in the walk",
        turned_after("shank", WALKING_S + 12, 20.0),
        words=("distal sensor", "slipped"),
    ),
    Mistake(
        "sensor-moved-after-standing",
        INSTRUMENTS,
        "the thigh sensor turns by 5° between standing and walk",
        turned_after("thigh", 22.5, 5.0),
        "cannot be known",
        reason="people stand and walk with other tilts of thigh and shank; only a second "
        "standing tells a turn of a few degrees after the first.",
    ),
    Mistake(
        "no-gravity",
        INSTRUMENTS,
        "an accelerometer that gives no gravity",
        without_gravity,
        words=("holds no gravity",),
    ),
    Mistake(
        "accelerometer-gain",
        INSTRUMENTS,
        "accelerometers 15 % too small",
        scaled(ACC, 0.85),
        words=("gravity", "scale is wrong"),
    ),
    Mistake(
        "gyroscope-bias",
        INSTRUMENTS,
        "a gyroscope's bias of 5 °/s",
        lambda scene: scene.signals(
            scene.wearable, lambda frame: frame.assign(shank_gyr_x=frame["shank_gyr_x"] + 0.087)
        ),
        words=("gyroscope bias",),
    ),
    Mistake(
        "gyroscope-scale",
        INSTRUMENTS,
        "one gyroscope 15 % too large",
        scaled(channels("shank", "gyr"), 1.15),
        words=("distal", "gyroscope"),
        slow=True,
        walk_s=90.0,
    ),
    Mistake(
        "gyroscopes-and-reference-scale",
        INSTRUMENTS,
        "both gyroscopes 20 % too large",
        scaled(GYR, 1.2),
        words=("gyroscope",),
        slow=True,
        walk_s=90.0,
    ),
    Mistake(
        "reference-late",
        INSTRUMENTS,
        "the reference delayed by 50 ms throughout",
        angle(lambda t, x: np.interp(t - 0.05, t, x)),
        "cannot be known",
        reason="the lag takes up a delay of all samples alike; only a trigger or an event on "
        "both instruments tells it apart from the clocks.",
    ),
    Mistake(
        "reference-zero",
        INSTRUMENTS,
        "the reference zeroed with the knee bent by 6°",
        angle(lambda t, x: x - 6.0),
        "cannot be known",
        reason="where the two zeros lie is what the offset measures; both angles in neutral "
        "standing are printed beside it.",
    ),
)


def as_table() -> str:
    """Return the catalogue as Markdown, an area a heading."""
    parts = []
    for area in AREAS:
        rows = [one for one in MISTAKES if one.area == area]
        parts.append(
            f"## {area.capitalize()}\n\n| mistake | comes out as | how one knows |\n"
            "| --- | --- | --- |"
        )
        for one in rows:
            said = ", ".join(f"“{word.strip()}”" for word in one.words)
            where = "named in a message with " + said if one.words else one.reason
            parts[-1] += f"\n| {one.what} | {one.outcome} | {where} |"
    return "\n\n".join(parts) + "\n"
