from dataclasses import replace

from twinangle.clocks import GyroscopeLag
from twinangle.report.citations import register_of_citations
from twinangle.report.methods import cited, methods_paragraphs, methods_text
from twinangle.results.decided import DecisionRecord


def test_counts_and_settings_are_those_of_the_run(study):
    text = methods_text(study)
    main = [t for t in study.trials if t.procedure == "kalman"]
    kept = sum(int(t.cycles.kept.sum()) for t in main)
    assert "2 participants (indoor and outdoor)" in text
    assert "Of 4 recordings, 4 could be analysed; a reference instrument was worn" in text
    assert f"Of 56 cycles found, {kept} were kept" in text
    assert "normalised cross-correlation" in text
    assert "12.345 s" in text
    assert "101 points" in text
    assert "kalman and vqf" in text
    assert "taken as instantaneous rates" in text
    assert "±5.0°" in text


def decided_lag(recording):
    return DecisionRecord(
        id=1, when="2026-01-05 10:00", who="AB", recording=recording, kind="lag",
        words="a lag of 12.3 s", why="heel taps", counts=True, why_not="", agreement_hidden=True,
        lag=12.3, drift=0.0, interval="", start=None, end=None, use=None, undoes=None,
        version="0", input="0",
    )  # fmt: skip


def test_a_lag_decided_by_hand_is_no_cross_correlation(study):
    def by_hand(trial):
        return replace(trial, synchronisation=replace(trial.synchronisation, method="manual"))

    paired = [trial for trial in study.trials if trial.synchronisation is not None]
    first = paired[0].participant
    some = tuple(
        by_hand(trial) if trial in paired and trial.participant == first else trial
        for trial in study.trials
    )
    text = methods_text(replace(study, trials=some, decisions=(decided_lag("P01"),)))
    assert "by a lag that somebody decided by hand (in 1 recording)" in text
    assert "least squares, the drift weighed against what crystal clocks do (in 1 record" in text
    every = tuple(by_hand(trial) if trial in paired else trial for trial in study.trials)
    both = (decided_lag("P01"), decided_lag("P02"))
    text = methods_text(replace(study, trials=every, decisions=both))
    assert "were brought together by a lag that somebody decided by hand. The lag" in text
    assert "cross-correlation" not in text
    assert "were searched" not in text


def test_only_named_references_are_listed(study):
    paragraphs = methods_paragraphs(study)
    listed = cited(paragraphs)
    assert register_of_citations()["bland-altman-2007"].reference() in listed
    assert register_of_citations()["koenig-2014"].reference() in listed
    assert list(listed) == sorted(listed)
    assert cited(("Nothing is named.",)) == ()


def test_steps_not_taken_are_left_out(build_results):
    results = build_results(
        participants=("P01",), reference=(), procedures=("a",), conditions=("path",), n=6
    )
    text = methods_text(results)
    assert "no reference instrument was worn" in text
    assert "clocks" not in text
    assert "limits of agreement" not in text
    assert "Conditions were compared" not in text


def test_angles_that_came_ready_made_are_said_so(study):
    results = replace(study, parameters={"wearable": {"kind": "angle"}})
    assert "used as delivered" in methods_text(results)


def test_reference_filter_is_named(study):
    results = replace(study, parameters={"reference": {"filter_hz": 6.0}})
    assert "low-pass filtered at 6 Hz" in methods_text(results)


def test_file_holds_the_text(written, study):
    assert (written / "methods.txt").read_text(encoding="utf-8") == methods_text(study)


def test_the_authors_are_asked_whom_they_spared(study):
    text = methods_text(study)
    assert "[To be stated by the authors: " in text
    assert "skin was checked" in text
    raw = replace(study, parameters={"wearable": {"kind": "inertial"}})
    assert "who was spared the functional movement (recent surgery" in methods_text(raw)


def test_a_lag_that_was_stated_says_nothing_of_the_procedure(study):
    """With a shared clock the procedure's delay was blamed for what may be the clock's."""

    def text_of(method):
        trials = tuple(
            replace(
                trial,
                synchronisation=replace(trial.synchronisation, method=method),
                gyroscope_lag=GyroscopeLag(*[0.0] * 6, 0.0063, (0.0, 0.01), disagree=False),
            )
            for trial in study.trials
            if trial.synchronisation is not None
        )
        return methods_text(replace(study, trials=trials))

    blamed = "which is the delay of the procedure that computes the angle, was 6.3 ms"
    assert blamed in text_of("cross-correlation").replace("\n", " ")
    stated = text_of("shared-clock").replace("\n", " ")
    assert blamed not in stated
    assert "less that by the sensors' gyroscopes was 6.3 ms: a delay between the" in stated
    assert "or an error of the clock" in stated


def test_one_recording_left_out_was_excluded(study):
    gone = study.trials[0]
    trials = tuple(
        replace(t, status="failed", reason="no cycles")
        if (t.participant, t.condition) == (gone.participant, gone.condition)
        else t
        for t in study.trials
    )
    text = methods_text(replace(study, trials=trials)).replace("\n", " ")
    assert "3 could be analysed and 1 was excluded beforehand or could not be analysed" in text


def test_methods_speak_of_no_option_and_no_analogy(larger):
    text = methods_text(larger)
    assert "limits of agreement" in text
    for word in ("participant-means", "pooled-within", "analysis-of-variance", "analogy"):
        assert word not in text
    assert "the mean of the participants' own variances" in text


def test_the_procedure_of_two_sensors_is_explained(build_results):
    results = build_results(
        participants=("P01", "P02"), reference=("hall",), procedures=("kalman-two-sensors",),
        conditions=("hall",), n=12,
    )  # fmt: skip
    raw = replace(results, parameters={"wearable": {"kind": "inertial", "standing_deg": 0.0}})
    text = methods_text(raw)
    assert "takes both sensors together" in text
    assert "iron in the floor counts least" in text


def test_notes_for_developers_stay_out_of_text_that_is_pasted(study):
    text = methods_text(study)
    assert "McGinley et al. 2009" in text
    assert "from memory" not in text
    assert "to be compared" not in text
