"""An invented study as ordinary files, with the truth beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd

from twinangle.checks import require_positive
from twinangle.errors import StudyError
from twinangle.output_folder.places import holds_files, staged_items
from twinangle.signals.recording import Interval
from twinangle.simulate.demo_files import wearable_frame, write_frame, write_text, write_truth
from twinangle.simulate.demo_texts import MARK, README, STUDY
from twinangle.simulate.instrument_signals import ReferenceErrors
from twinangle.simulate.walk import SimulatedTrial, WalkSettings, simulate_walk

CONDITIONS = ("indoor", "outdoor")
_GAP_S = 0.64  # rows one logger failed to write, in one trial
_PATH_S = 52.0  # the path is at most that long a walk, so that it gives fewer cycles than the hall
_LOST_ROWS, _BROKEN_OFF, _STIFF_KNEED = 4, 5, 6  # participants
_BROKEN_OFF_S = 12.0
_HATCH_DEG = 50.0  # under the standing place in the hall
_REASON = "rain got into the shank's sensor after some steps; the walk was broken off"


@dataclass(frozen=True, slots=True)
class _Participant:
    """One invented walker: what stays the same between their trials."""

    name: str
    age_years: int
    settings: WalkSettings


@dataclass(frozen=True, slots=True)
class _Days:
    """How many sessions each has, and how unlike people stand in them."""

    sessions: int
    placement_sd_deg: float

    @property
    def several(self) -> bool:
        return self.sessions > 1

    def standing_deg(self, seed: int, number: int, session: int) -> float:
        """Return the true flexion in neutral standing, the same under every condition."""
        rng = np.random.default_rng([seed, number, 1 + len(CONDITIONS), session])
        return float(self.placement_sd_deg * rng.standard_normal())


@dataclass(frozen=True, slots=True)
class _Day:
    """One session of one person."""

    session: int
    several: bool  # whether there are others
    standing_deg: float


def write_demo_study(
    folder: str | Path,
    *,
    seed: int = 7,
    participants: int = 6,
    conditions: Sequence[str] = CONDITIONS,
    walk_s: float = 75.0,
    reference_rate_hz: float = 200.0,
    hatch_deg: float = _HATCH_DEG,
    sessions: int = 1,
    placement_sd_deg: float = 0.0,
) -> Path:
    """Write an invented study of the knee, indoors with a reference and outdoors without.

    Each participant walks in a sports hall (`indoor`: reference worn, iron in the floor, a turn
    every dozen metres, standing on a steel hatch that turns the magnetic field at the shank) and
    on a gravel path (`outdoor`: no reference, a clean field, a turn every forty metres, 52 s at
    most). The reference's zero is some degrees off. In the indoor trial of the fourth
    participant the logger failed to write 0.64 s of rows, the fifth broke off outdoors and that row
    is excluded with its reason, and the sixth walks with a stiff knee.

    Parameters
    ----------
    folder : str or pathlib.Path
        Where to write. It may hold an earlier demo study, whose files are then replaced; nothing
        else in it is touched.
    seed : int
        The same seed gives the same bytes.
    participants : int
    conditions : sequence of {"indoor", "outdoor"}
    walk_s : float
        Seconds each walk lasts; outdoors 52 s at most.
    reference_rate_hz : float
    hatch_deg : float
        Turn of the field at the shank over the hatch indoors, in degrees; 0 is no hatch.
    sessions : int
        Days on which each participant is recorded, the sensors placed anew on each. Rows are lost
        and a walk is broken off in the first alone.
    placement_sd_deg : float
        SD over sessions of the true flexion in which somebody stands when told to stand neutral:
        what a placement costs an angle whose sensors' mounting is found from standing. The truth
        beside the files has each session's.

    Returns
    -------
    pathlib.Path
        The study file, `study.toml`.

    Raises
    ------
    StudyError
        If the folder holds files and is not an earlier demo study.
    ValueError
        If `participants`, `sessions` or `walk_s` is not above zero, `placement_sd_deg` below it, or
        a condition is unknown.
    """
    require_positive(participants, "participants")
    require_positive(sessions, "sessions")
    if placement_sd_deg < 0:
        raise ValueError(f"`placement_sd_deg` must be 0 or more, got {placement_sd_deg!r}.")
    unknown = [name for name in conditions if name not in CONDITIONS]
    if unknown or not conditions:
        raise ValueError(f"`conditions` must be among {CONDITIONS}, got {tuple(conditions)!r}.")
    target = Path(folder)
    _refuse_foreign(target)
    try:
        # The readme marks a demo folder, and the study file makes it usable.
        with staged_items(target, first=("README.txt",), last=("study.toml",)) as made:
            days = _Days(sessions, placement_sd_deg)
            _write_all(
                made, seed, participants, conditions, walk_s, reference_rate_hz, hatch_deg, days
            )
    except OSError as error:
        raise StudyError(f"{target}: cannot be written ({error.strerror}).") from error
    return target / "study.toml"


def _refuse_foreign(folder: Path) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        raise StudyError(f"{folder} is a file; the demo study needs a folder of its own.")
    readme = folder / "README.txt"
    if holds_files(folder) and not (
        readme.is_file() and readme.read_text(encoding="utf-8", errors="replace").startswith(MARK)
    ):
        raise StudyError(
            f"{folder} holds files and is not an earlier demo study; nothing was written. "
            "Name a new or an empty folder."
        )


def _write_all(
    folder: Path,
    seed: int,
    participants: int,
    conditions: Sequence[str],
    walk_s: float,
    reference_rate_hz: float,
    hatch_deg: float,
    days: _Days,
) -> None:
    for part in ("wearable", "reference", "truth"):
        (folder / part).mkdir(parents=True)
    rows = []
    for number in range(1, participants + 1):
        walker = _draw_participant(number, seed, walk_s, reference_rate_hz)
        for session, condition in product(range(1, days.sessions + 1), conditions):
            day = _Day(session, days.several, days.standing_deg(seed, number, session))
            settings, trial = _walk_in(walker, number, seed, condition, hatch_deg, day)
            rows.append(_write_trial(folder, walker, condition, settings, trial, number, day))
    pd.DataFrame(rows).to_csv(folder / "trials.csv", index=False, lineterminator="\n")
    write_text(folder / "study.toml", STUDY)
    write_text(folder / "README.txt", README.format(seed=seed))


def demo_trial(
    number: int,
    *,
    seed: int = 7,
    condition: str = "indoor",
    walk_s: float = 75.0,
    reference_rate_hz: float = 200.0,
    hatch_deg: float = _HATCH_DEG,
    session: int = 1,
    placement_sd_deg: float = 0.0,
) -> SimulatedTrial:
    """Return one trial of the demo study of a seed, before its files are written.

    The truth it carries has the clock's lag and drift. Participants and
    sessions count from 1. `hatch_deg` and `placement_sd_deg`: as in `write_demo_study`.
    """
    walker = _draw_participant(number, seed, walk_s, reference_rate_hz)
    days = _Days(session, placement_sd_deg)
    day = _Day(session, days.several, days.standing_deg(seed, number, session))
    return _walk_in(walker, number, seed, condition, hatch_deg, day)[1]


def _walk_in(
    walker: _Participant,
    number: int,
    seed: int,
    condition: str,
    hatch_deg: float,
    day: _Day,
) -> tuple[WalkSettings, SimulatedTrial]:
    later = [day.session] if day.session > 1 else []
    rng = np.random.default_rng([seed, number, 1 + CONDITIONS.index(condition), *later])
    settings = _in_place(walker.settings, condition, rng, hatch_deg)
    settings = replace(settings, standing_deg=day.standing_deg)
    if _is_broken_off(number, condition, day.session):
        settings = replace(settings, walk_s=min(settings.walk_s, _BROKEN_OFF_S))
    return settings, simulate_walk(rng=rng, settings=settings)


def _draw_participant(
    number: int, seed: int, walk_s: float, reference_rate_hz: float
) -> _Participant:
    rng = np.random.default_rng([seed, number, 0])
    # The instrument's zero was never set to neutral standing: it reads some 3.5° too much.
    errors = ReferenceErrors(
        gain=float(rng.normal(1.0, 0.012)), offset_deg=float(rng.normal(3.6, 0.8))
    )
    settings = WalkSettings(
        walk_s=walk_s,
        stride_s=float(rng.uniform(1.02, 1.18)),
        speed_m_s=float(rng.uniform(1.15, 1.45)),
        knee_sd_deg=float(rng.uniform(1.5, 2.4)),
        swing_peak_deg=float(rng.uniform(54.0, 62.0)),
        functional_deg=float(rng.uniform(62.0, 80.0)),
        out_of_plane_deg=float(rng.uniform(1.0, 4.0)),
        soft_tissue_deg=float(rng.uniform(0.4, 1.0)),
        side="left" if number % 2 else "right",
        reference_rate_hz=reference_rate_hz,
        reference_errors=errors,
    )
    if number == _STIFF_KNEED:
        settings = replace(
            settings, stride_s=1.28, speed_m_s=0.92, swing_peak_deg=30.0, functional_deg=52.0
        )
    return _Participant(f"P{number:02d}", int(rng.integers(21, 64)), settings)


def _in_place(
    settings: WalkSettings, condition: str, rng: np.random.Generator, hatch_deg: float
) -> WalkSettings:
    """Return the settings of a trial in the hall or on the path, with the clocks of the day."""
    if condition == "indoor":
        return replace(
            settings,
            stride_cv=0.018,
            straight_m=12.0,
            floor_ut=9.0,
            hatch_deg=hatch_deg,
            lag_s=round(float(rng.uniform(-9.0, 6.0)), 4),
            drift_ppm=round(float(rng.uniform(-80.0, 80.0)), 1),
        )
    return replace(
        settings,
        walk_s=min(settings.walk_s, _PATH_S),
        stride_cv=0.026,
        knee_sd_deg=1.25 * settings.knee_sd_deg,
        straight_m=40.0,
        weave_deg=4.0,
        with_reference=False,
    )


def _is_broken_off(number: int, condition: str, session: int) -> bool:
    return number == _BROKEN_OFF and condition == "outdoor" and session == 1


def _write_trial(
    folder: Path,
    walker: _Participant,
    condition: str,
    settings: WalkSettings,
    trial: SimulatedTrial,
    number: int,
    day: _Day,
) -> dict[str, object]:
    """Write one trial's files and return its row of the trials table."""
    first = day.session == 1
    stem = "_".join([walker.name, *([f"s{day.session}"] if day.several else []), condition])
    wearable = wearable_frame(trial.sensors)
    gap = _gap(trial) if number == _LOST_ROWS and condition == "indoor" and first else None
    if gap is not None:
        lost = (wearable["time_s"] >= gap.start_s) & (wearable["time_s"] < gap.end_s)
        wearable = wearable[~lost]
    write_frame(wearable, folder / "wearable" / f"{stem}.csv")
    reference = ""
    if trial.reference is not None:
        reference = f"reference/{stem}.csv"
        frame = pd.DataFrame(
            {
                "time_s": np.round(trial.reference.time_s, 6),
                "knee_deg": np.round(trial.reference.angle_deg, 3),
            }
        )
        write_frame(frame, folder / reference)
    write_truth(folder / "truth", stem, trial, gap, day.standing_deg if day.several else None)
    walking = trial.truth.walking
    return {
        "participant": walker.name,
        "session": str(day.session),
        "condition": condition,
        "trial": "1",
        "side": settings.side,
        "wearable": f"wearable/{stem}.csv",
        "reference": reference,
        "static_start_s": trial.static.start_s,
        "static_end_s": trial.static.end_s,
        "functional_start_s": trial.functional.start_s,
        "functional_end_s": round(trial.functional.end_s, 2),
        "start_s": round(walking.start_s - 2.0, 1),
        "end_s": round(walking.end_s + 2.0, 1),
        "exclude": _REASON if _is_broken_off(number, condition, day.session) else "",
        "speed_m_s": round(settings.speed_m_s, 2),
        "age_years": walker.age_years,
    }


def _gap(trial: SimulatedTrial) -> Interval:
    """Return a stretch in the middle of the walk for the logger to lose."""
    walking = trial.truth.walking
    start_s = round(0.5 * (walking.start_s + walking.end_s), 2)
    return Interval(start_s, round(start_s + _GAP_S, 2))
