"""What every `plot_…` function shares: axes to draw on, and the parts of a result it needs.

A figure of its own (no `ax` given) belongs to no window and no global state; it shows itself at the
end of a notebook's cell, always in the report's style.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from twinangle.plotting.looks import MM, drawing_style
from twinangle.results import Pooled, StudyResults, TrialResult, given
from twinangle.signals.joint import joint_named

if TYPE_CHECKING:
    from matplotlib.axes import Axes

OWN_MM = (120.0, 78.0)  # of a figure that a function makes itself
T = TypeVar("T")
Instrument = Literal["wearable", "reference"]
INSTRUMENTS: tuple[Instrument, ...] = ("wearable", "reference")


@contextmanager
def on_axes(ax: Axes | None, height_mm: float = OWN_MM[1]) -> Iterator[Axes]:
    """Yield the axes given, or those of a new figure; a name with dollar signs stays a name.

    Raises
    ------
    TypeError
        If `ax` is not one pair of axes.
    """
    import matplotlib as mpl
    from matplotlib.axes import Axes

    if ax is None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg

        from twinangle.plotting.own_figure import OWN_DPI, OwnAxes, OwnFigure

        with drawing_style():
            figure = OwnFigure(
                figsize=(OWN_MM[0] * MM, height_mm * MM), dpi=OWN_DPI, layout="constrained"
            )
            FigureCanvasAgg(figure)
            yield figure.add_subplot(axes_class=OwnAxes)
        return
    if not isinstance(ax, Axes):
        raise TypeError(
            f"`ax`: expected one pair of Matplotlib axes, got {type(ax).__name__}; of an array of "
            "them, as `plt.subplots(2, 2)` gives, hand over one: `axes[0, 1]`."
        )
    if not mpl.rcParams["text.parse_math"]:  # as in every panel of the report
        yield ax
        return
    with mpl.rc_context({"text.parse_math": False}):
        yield ax


def size_mm(axes: Axes) -> tuple[float, float]:
    """Return width and height of axes in print."""
    box = axes.get_window_extent()
    dpi = axes.get_figure(root=True).dpi  # type: ignore[union-attr]
    return box.width / dpi / MM, box.height / dpi / MM


def angle_label(joint: str | None) -> str:
    """Return the label of an angle: `Knee flexion (°)`; without a joint `Flexion (°)`."""
    return f"{joint_named(joint).label} (°)" if joint else "Flexion (°)"


def trial_of(result: object) -> TrialResult:
    """Return the trial, or say what would be accepted."""
    if isinstance(result, TrialResult):
        return result
    raise TypeError(f"{_got(result)}; a TrialResult is accepted, as `results.trials[0]`.")


def study_of(result: object) -> StudyResults:
    """Return the study's results, or say what would be accepted."""
    if isinstance(result, StudyResults):
        return result
    raise TypeError(
        f"{_got(result)}; StudyResults are accepted, as `run_study` and `read_results` give them."
    )


def part_of(trial: TrialResult, part: T | None, what: str) -> T:
    """Return a trial's part, or say that it lacks and why."""
    if part is not None:
        return part
    name, reason = f"{trial.label}, {trial.procedure}", trial.reason.rstrip(".")
    if trial.status in ("failed", "excluded"):
        raise ValueError(f"{name}: there is nothing to draw ({trial.status}): {reason}.")
    why = f": {trial.status}, {reason}" if reason else ""
    raise ValueError(f"{name}: holds no {what}{why}. A trial is accepted that has them.")


def value_of(result: Pooled[T] | T, kind: type[T], where: str) -> T:
    """Return a value of that kind, out of its `Pooled` where it is in one.

    Parameters
    ----------
    result : Pooled or `kind`
        What a caller gave.
    kind : type
        What is drawn.
    where : str
        Where results hold such: `results.limits[0]`.

    Raises
    ------
    TypeError
        If it is something else.
    ValueError
        If it is absent.
    """
    value = result.value if isinstance(result, Pooled) else result
    if isinstance(value, kind):
        return value
    if isinstance(result, Pooled) and result.absent is not None:
        name = ", ".join(filter(None, (result.procedure, result.condition, result.quantity)))
        reason = result.absent.reason.rstrip(".")
        raise ValueError(
            f"{name or 'This result'}: there is nothing to draw ({reason}); a value that is given "
            f"is accepted, as {where} where its `absent` is None."
        )
    raise TypeError(f"{_got(value)}; {kind.__name__} is accepted, as {where}.")


def several_of(
    result: StudyResults | Pooled[T] | Sequence[Pooled[T]], topic: str, kind: type[T]
) -> list[tuple[Pooled[T], T]]:
    """Return the values of a topic: of a study, of some of its rows, or of one.

    Raises
    ------
    TypeError
        If it is something else.
    ValueError
        If none is given.
    """
    where = f"`results.{topic}`"
    if isinstance(result, Pooled):
        return [(result, value_of(result, kind, f"{where[:-1]}[0]`"))]
    rows: Iterable[Any] = getattr(result, topic) if isinstance(result, StudyResults) else ()
    if not isinstance(result, StudyResults):
        if not isinstance(result, Sequence) or not all(isinstance(r, Pooled) for r in result):
            raise TypeError(
                f"{_got(result)}; the results of a study are accepted, or {where}, or one of them."
            )
        rows = result
    rows = list(rows)
    found = given(rows)
    if not found:
        absent = (row.absent.reason.rstrip(".") for row in rows if row.absent)
        reasons = "; ".join(dict.fromkeys(absent))
        raise ValueError(
            f"There is nothing to draw: no value in {where}{f' ({reasons})' if reasons else ''}."
        )
    for _, value in found:
        value_of(value, kind, where)
    return found


def trials_of(result: object) -> list[TrialResult]:
    """Return one trial or several, as a list.

    Raises
    ------
    TypeError
        If one is no trial.
    ValueError
        If there is none.
    """
    if isinstance(result, TrialResult):
        return [result]
    if isinstance(result, str | bytes) or not isinstance(result, Sequence):
        raise TypeError(
            f"{_got(result)}; a TrialResult or a list of them is accepted, as `results.trials`."
        )
    if not result:
        raise ValueError("There is nothing to draw: the list of trials is empty.")
    return [trial_of(each) for each in result]


def one_of(value: str, accepted: Sequence[str], name: str = "instrument") -> str:
    """Return the word, or say which are accepted."""
    if value in accepted:
        return value
    raise ValueError(f"`{name}`: {value!r} is not one of {', '.join(accepted)}.")


def _got(value: object) -> str:
    return f"Cannot draw {type(value).__name__}"
