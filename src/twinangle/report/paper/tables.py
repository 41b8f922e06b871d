"""The tables an article needs, each declared once; CSV, LaTeX and DOCX print what stands here."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from twinangle.plotting.budget import PARTS
from twinangle.report.limits import form_in_words
from twinangle.report.paper.rounded import alone, mean_and_sd, with_ends
from twinangle.results import Absent, StudyResults, TrialResult, given, named
from twinangle.results.answer import answer_of
from twinangle.results.comparison_words import tie_word, ties_sentence
from twinangle.results.covariates import covariate_summaries
from twinangle.results.grouping import Naming, distinct, worked_recordings
from twinangle.results.session_words import MAIN_FORM
from twinangle.wording import NO_MARGIN, NOTHING, SD_FREED, count, quantity_name, stated

WHERE = ("Condition", "Procedure")


@dataclass(frozen=True, slots=True)
class PaperTable:
    """A table as it is printed, whatever the format.

    Attributes
    ----------
    name : str
        Of its files, without suffix.
    title : str
        What stands above it.
    head : tuple of str
        One a column.
    rows : tuple of tuple of str
        Cells as printed.
    words : int
        How many of the first columns hold words; the others hold numbers.
    notes : tuple of str
        What stands below it: n, and the form of the intervals.
    """

    name: str
    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: int
    notes: tuple[str, ...]


def paper_tables(results: StudyResults) -> tuple[PaperTable, ...]:
    """Return the tables that have rows, without the columns that say nothing."""
    found = [make(results) for make in TABLES]
    return tuple(_filled(table) for table in found if table.rows)


def _filled(table: PaperTable) -> PaperTable:
    """Leave out the columns in which no row says anything."""
    kept = [
        k for k in range(len(table.head)) if any(row[k] not in ("", NOTHING) for row in table.rows)
    ]
    return PaperTable(
        table.name,
        table.title,
        tuple(table.head[k] for k in kept),
        tuple(tuple(row[k] for k in kept) for row in table.rows),
        sum(k < table.words for k in kept),
        tuple(note for note in table.notes if note),
    )


def covariate_name(name: str) -> str:
    """Return a column's name in words, its unit in brackets: `age_years` is `age (years)`."""
    for ending, unit in _UNITS.items():
        if name.endswith(ending) and len(name) > len(ending):
            return f"{name.removesuffix(ending).replace('_', ' ')} ({unit})"
    return name.replace("_", " ")


# Endings of column names that users give their covariates. Common practice, no source.
_UNITS = {
    "_m_s": "m/s", "_km_h": "km/h", "_years": "years", "_kg_m2": "kg/m²", "_kg": "kg", "_cm": "cm",
    "_mm": "mm", "_m": "m", "_deg": "°", "_percent": "%", "_s": "s",
}  # fmt: skip


def _participants(results: StudyResults) -> PaperTable:
    """Return a row a recording: who, with which covariates, and how many cycles."""
    trials, naming = worked_recordings(results), Naming(results)
    names = distinct(name for trial in trials for name in trial.covariates)
    head = (
        "Participant", "Condition", "Recording", *map(covariate_name, names), "Reference",
        "Cycles kept / found", "Cycle duration (s), mean ± SD",
    )  # fmt: skip
    rows = tuple(_recording(trial, naming.recording(trial), names) for trial in trials)
    left = len({(t.participant, t.session, t.condition, t.trial, t.side) for t in results.trials})
    left -= len(trials)
    note = f"{left} further recording(s) were left out; reasons: the report." if left else ""
    people = len({t.participant for t in trials})
    return PaperTable(
        "participants", "Participants and recordings", head, rows, 3,
        (f"{count(len(trials), 'recording')} of {count(people, 'participant')}.", note,
         "SD over the kept cycles (n − 1)."),
    )  # fmt: skip


def _recording(trial: TrialResult, recording: str, names: Sequence[str]) -> tuple[str, ...]:
    durations = trial.strides
    return (
        trial.participant,
        trial.condition,
        recording,
        *(_as_stated(trial.covariates.get(name)) for name in names),
        "yes" if trial.agreement is not None else "no",
        NOTHING if durations is None else f"{durations.n_kept} / {durations.n_found}",
        NOTHING
        if durations is None
        else mean_and_sd(durations.duration_mean_s, durations.duration_sd_s, "s"),
    )


def _as_stated(value: bool | float | str | None) -> str:
    """Return a covariate as the trials table has it."""
    if value is None:
        return NOTHING
    if isinstance(value, bool | str):
        return str(value)
    return f"{value:g}".replace("-", "−")


def _characteristics(results: StudyResults) -> PaperTable:
    """Return a row a numeric covariate: mean, SD and range over participants."""
    rows = tuple(
        (
            covariate_name(one.covariate),
            one.condition,
            str(one.n_participants),
            mean_and_sd(one.mean, one.sd),
            f"{_as_stated(one.low)} to {_as_stated(one.high)}",
        )
        for one in covariate_summaries(results)
    )
    return PaperTable(
        "characteristics", "Characteristics of the participants",
        ("Covariate", "Condition", "n", "Mean ± SD", "Range"), rows, 2,
        ("n: participants; SD over participants (n − 1); a participant's recordings averaged.",),
    )  # fmt: skip


def _limits(results: StudyResults) -> PaperTable:
    """Return bias and limits of agreement of every procedure, condition and quantity."""
    verdicts = dict(named(results.equivalence))
    margin, level = results.options.margin_deg, results.options.level
    rows, forms = [], []
    for pooled, found in given(results.limits):
        limits = found.limits
        claim = verdicts.get((pooled.procedure, pooled.condition, pooled.quantity))
        forms.append(f"{form_in_words(limits)} Intervals: {limits.interval_method}.")
        rows.append(
            (
                pooled.condition,
                pooled.procedure,
                quantity_name(pooled.quantity),
                f"{limits.n_participants} / {limits.n_observations}",
                with_ends(limits.bias, limits.bias_ci),
                with_ends(limits.lower, limits.lower_ci),
                with_ends(limits.upper, limits.upper_ci),
                alone(limits.sd_between),
                alone(limits.sd_within),
                NOTHING if claim is None else claim.verdict,
            )
        )
    against = (
        f"{NO_MARGIN.capitalize()} beforehand."
        if margin is None
        else f"Verdict against the margin of ±{stated(margin)}° set beforehand: inside, both "
        "limits with their intervals; outside, a limit with its whole interval; undecided, neither."
    )
    return PaperTable(
        "limits_of_agreement", "Limits of agreement, wearable minus reference, in degrees",
        (*WHERE, "Quantity", "n", "Bias", "Lower limit", "Upper limit", "SD between", "SD within",
         "Verdict"), tuple(rows), 3,
        (f"n: participants / cycles. In brackets: {level} intervals.",
         " ".join(distinct(forms)), against),
    )  # fmt: skip


def _curves(results: StudyResults) -> PaperTable:
    """Return offset and RMS of the mean curves over participants."""
    rows = tuple(
        (
            condition,
            procedure,
            f"{curves.n_participants} / {curves.n_trials}",
            with_ends(curves.offset, curves.offset_ci),
            with_ends(curves.rms_demeaned, curves.rms_demeaned_ci),
            with_ends(curves.range_difference, curves.range_difference_ci),
            with_ends(curves.correlation, curves.correlation_ci, ""),
        )
        for (procedure, condition, _), curves in named(results.curves)
    )
    return PaperTable(
        "curves", "Mean curves compared, wearable minus reference, in degrees",
        (*WHERE, "n", "Offset", "RMS, demeaned", "Difference of ranges", "Correlation"), rows, 2,
        ((f"n: participants / recordings. In brackets: {results.options.level} intervals over "
         "participants (Student's t; of the RMS on a logarithmic scale, of the correlation by "
         "Fisher's z); with one participant there are none."),),
    )  # fmt: skip


def _variability(results: StudyResults) -> PaperTable:
    """Return the per-cycle SD of both instruments."""
    rows = tuple(
        (
            condition,
            procedure,
            f"{both.n_participants} / {both.n_trials}",
            with_ends(both.test_sd, both.test_sd_ci),
            with_ends(both.reference_sd, both.reference_sd_ci),
            with_ends(both.difference, both.difference_ci),
            with_ends(both.ratio, both.ratio_ci, ""),
        )
        for (procedure, condition, _), both in named(results.variability)
    )
    return PaperTable(
        "variability", "Standard deviation over cycles of both instruments, in degrees",
        (*WHERE, "n", "Wearable", "Reference", "Difference", "Ratio"), rows, 2,
        ((f"n: participants / recordings. In brackets: {results.options.level} intervals over "
         "participants (delete-one-participant jackknife, serial correlation counted). Each SD is "
         f"{SD_FREED}."),),
    )  # fmt: skip


def _conditions(results: StudyResults) -> PaperTable:
    """Return the conditions compared, paired within participants."""
    rows = tuple(
        (
            f"{item.condition} against {item.against}",
            procedure,
            _SDS.get(quantity, quantity_name(quantity)),
            str(item.n_participants),
            with_ends(item.difference, item.difference_ci),
            with_ends(item.ratio, item.ratio_ci, ""),
        )
        for (procedure, _, quantity), item in named(results.conditions)
    )
    return PaperTable(
        "conditions", "Conditions compared, paired within participants",
        ("Conditions", "Procedure", "Quantity", "n", "Difference (°)", "Ratio"), rows, 3,
        (f"n: participants measured under both. In brackets: {results.options.level} intervals.",),
    )  # fmt: skip


_SDS = {
    "wearable_sd_deg": "SD over cycles, wearable",
    "reference_sd_deg": "SD over cycles, reference",
}


def _procedures(results: StudyResults) -> PaperTable:
    """Return procedures in pairs, on the same recordings."""
    rows, n = [], []
    for pooled, contest in given(results.ranking):
        means = {place.procedure: place for place in contest.standings}
        n.append(
            f"{count(contest.n_participants, 'participant')}, "
            f"{count(contest.n_trials, 'recording')}"
        )
        for pair in contest.differences:
            first, second = means[pair.first], means[pair.second]
            rows.append(
                (
                    pooled.condition,
                    *(
                        f"{place.procedure} (rank {place.rank})"
                        if contest.can_tell_apart()
                        else place.procedure
                        for place in (first, second)
                    ),
                    alone(first.mean),
                    alone(second.mean),
                    with_ends(pair.difference, (pair.lower, pair.upper)),
                    tie_word(contest, tied=pair.tied),
                )
            )
    told = distinct(filter(None, (ties_sentence(contest) for _, contest in given(results.ranking))))
    return PaperTable(
        "procedures",
        "Procedures on the same recordings: RMS of the demeaned mean curves, in degrees",
        ("Condition", "First", "Second", "Mean of the first", "Mean of the second",
         "First − second", "Verdict"), tuple(rows), 3,
        ((f"n: {'; '.join(distinct(n))}. In brackets: intervals that hold together at "
         f"{results.options.level} over all pairs of a condition."), *told),
    )  # fmt: skip


def _budget(results: StudyResults) -> PaperTable:
    """Return the parts of the mean squared difference, a column a procedure and condition."""
    found = named(results.budget)
    rows = [
        (name.capitalize(), *(with_ends(getattr(b, part), getattr(b, f"{part}_ci"), "")
                              for _, b in found))
        for part, name in {**PARTS, "total": "whole"}.items()
    ]  # fmt: skip
    n = " / ".join(str(budget.n_participants) for _, budget in found)
    return PaperTable(
        "error_budget", "Parts of the mean squared difference, in deg²",
        ("Part", *(", ".join(filter(None, key[:2])) for key, _ in found)),
        tuple(rows) if found else (), 1,
        (f"Participants: {n}. In brackets: {results.options.level} intervals over them.",),
    )  # fmt: skip


def _sessions(results: StudyResults) -> PaperTable:
    """Return test and retest over sessions: intraclass correlation and errors of measurement."""
    rows = [
        (
            *key[1::-1],
            quantity_name(key[2]),
            found.instrument,
            f"{len(found.people)} / {len(found.columns)}",
            with_ends(found.form(MAIN_FORM).value, found.form(MAIN_FORM).value_ci, ""),
            with_ends(found.error.sem, found.error.sem_ci),
            with_ends(found.error.mdc, found.error.mdc_ci),
            with_ends(found.error.sem_agreement, found.error.sem_agreement_ci),
            with_ends(found.error.shift, found.error.shift_ci),
        )
        for key, found in named(results.reliability)
        if found.design == "sessions" and not isinstance(found.error, Absent)
    ]
    return PaperTable(
        "sessions", "Test and retest over sessions, in degrees",
        (*WHERE, "Quantity", "Values of", "n", MAIN_FORM, "SEM", "Detectable change",
         "SEM with shift", "Shift"), tuple(rows), 4,
        ((f"n: participants / sessions. {MAIN_FORM}: two-way random effects, absolute agreement, "
         "single measurement. SEM: standard error of measurement, without and with the shift "
         "between sessions. Shift: last session minus first, mean over participants, paired. "
         f"In brackets: {results.options.level} intervals over participants."),),
    )  # fmt: skip


def _sensitivity(results: StudyResults) -> PaperTable:
    """Return bias and limits without each participant in turn, main procedure and condition."""
    answer = answer_of(results)
    rows = tuple(
        (
            quantity_name(key[2]),
            one.participant,
            str(one.n_observations),
            *(f"{alone(value)} ({_signed(change)})" for value, change in (
                (one.bias, one.bias_change), (one.lower, one.lower_change),
                (one.upper, one.upper_change))),
        )
        for key, found in named(results.sensitivity)
        if key[:2] == (answer.procedure, answer.condition)
        for one in found.without
    )  # fmt: skip
    return PaperTable(
        "without_each_participant",
        "Bias and limits of agreement without each participant in turn, in degrees",
        ("Quantity", "Left out", "n", "Bias", "Lower limit", "Upper limit"), rows, 2,
        (("n: cycles of the others. In brackets: change from the numbers of all. "
         f"{', '.join(filter(None, (answer.condition, answer.procedure)))}. Nobody was left "
         "out of the analysis for what is seen here."),),
    )  # fmt: skip


def _signed(change: float) -> str:
    shown = alone(change)
    return shown if shown.startswith("−") or shown == NOTHING else f"+{shown}"


TABLES: Sequence[Callable[[StudyResults], PaperTable]] = (
    _participants,
    _characteristics,
    _limits,
    _curves,
    _variability,
    _conditions,
    _procedures,
    _budget,
    _sessions,
    _sensitivity,
)
