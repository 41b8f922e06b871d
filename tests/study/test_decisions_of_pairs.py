"""Decisions in a study of several wearables and references: which of them each is about."""

from dataclasses import replace

import pytest

from twinangle.study import Decision, apply_decisions, read_bare_study
from twinangle.study.decisions import check_decision, recording_hash
from twinangle.study.standing_decisions import in_force

HEAD = '[study]\ntitle = "Two"\njoint = "knee"\ntrials = "trials.csv"\n'
SECTION = '[{place}]\nkind = "angle"\ntime = "t"\nangle = "{place}"\n'
LABEL = "P1 all session 1 trial 1"
LAG = {"lag_s": 2.0, "drift_ppm": 0.0}
STANDING = {"which": "standing", "start_s": 1.0, "end_s": 3.0}
CYCLE = {"start_s": 12.0, "use": False}
OUT = {"use": False}


def write(folder, *sections, columns, cells):
    """Write a study of one recording; its files are not opened."""
    text = HEAD + "".join(SECTION.format(place=place) for place in sections)
    (folder / "study.toml").write_text(text)
    (folder / "trials.csv").write_text(f"participant,{columns}\nP1,{cells}\n")
    for name in "abgo":
        (folder / f"{name}.csv").write_text(name)
    return read_bare_study(folder)


@pytest.fixture
def study(tmp_path):
    return write(
        tmp_path,
        *("wearables.strap", "wearables.sleeve", "references.gonio", "references.optical"),
        columns="wearable_strap,wearable_sleeve,reference_gonio,reference_optical",
        cells="a.csv,b.csv,g.csv,o.csv",
    )


def decision(study, kind, value, wearable="", reference="", **fields):
    made = recording_hash(study, study.trials[0], wearable, reference)
    filled = {"input": made, "version": "0.1", "when": "2026-11-28T02:00:00Z", "id": 1} | fields
    why = filled.pop("why", "seen")
    names = {"wearable": wearable, "reference": reference}
    return Decision("R1", LABEL, kind, value, why, **filled, **names)


def rows(study):
    """Return the one recording as each pair has it."""
    return {(part.wearable, part.reference): row for part, row in study.rows_of(study.trials[0])}


def test_a_lag_is_of_one_pair_an_interval_of_a_wearable_a_cycle_of_either(study):
    made = [
        decision(study, "lag", LAG, "strap", "optical", id=1),
        decision(study, "interval", STANDING, "sleeve", id=2),
        decision(study, "cycle", CYCLE, "strap", id=3),
        decision(study, "cycle", {"start_s": 20.0, "use": False}, "strap", "gonio", id=4),
    ]
    found = rows(apply_decisions(study, made))
    lags = {names: row.by_hand and row.by_hand.lag_s for names, row in found.items()}
    assert lags == {
        ("strap", "gonio"): None, ("strap", "optical"): 2.0,
        ("sleeve", "gonio"): None, ("sleeve", "optical"): None,
    }  # fmt: skip
    assert [row.static is not None for row in found.values()] == [False, False, True, True]
    cycles = [[start for start, *_ in row.by_hand.cycles] for row in found.values()]
    assert cycles == [[12.0, 20.0], [12.0], [], []]


def test_a_recording_is_out_for_all_or_for_the_instruments_named(study):
    some = apply_decisions(study, [decision(study, "recording", OUT, "", "gonio")])
    assert [row.exclude for row in rows(some).values()] == [
        "by hand: seen",
        "",
        "by hand: seen",
        "",
    ]
    assert not some.trials[0].exclude
    every = apply_decisions(study, [decision(study, "recording", OUT)])
    assert {row.exclude for row in rows(every).values()} == {"by hand: seen"}
    assert every.trials[0].exclude == "by hand: seen"


def test_a_later_decision_stands_over_what_it_is_wholly_about(study):
    first = decision(study, "recording", OUT, "", "gonio", id=1)
    back = decision(study, "recording", {"use": True}, "strap", "gonio", id=2)
    assert in_force([first, back]) == (first, back)  # the sleeve's stays
    found = rows(apply_decisions(study, [first, back]))
    assert [bool(row.exclude) for row in found.values()] == [False, False, True, False]
    all_back = decision(study, "recording", {"use": True}, id=3)
    assert in_force([first, back, all_back]) == (all_back,)


@pytest.mark.parametrize(
    ("kind", "value", "names", "words"),
    [
        (
            "lag",
            LAG,
            ("", ""),
            "does not say which wearable it is about; accepted as its `wearable",
        ),
        ("lag", LAG, ("strap", ""), "accepted as its `reference`: 'gonio' or 'optical'"),
        ("interval", STANDING, ("", ""), "accepted as its `wearable`: 'strap' or 'sleeve'"),
        ("cycle", CYCLE, ("stap", ""), "no wearable 'stap'; accepted: 'strap' or 'sleeve'"),
    ],
)
def test_names_that_fit_no_instrument_are_told_and_nothing_is_applied(
    study, kind, value, names, words
):
    made = replace(decision(study, kind, value), input="0" * 64)
    made = replace(made, wearable=names[0], reference=names[1])
    found = apply_decisions(study, [made])
    assert words in found.decisions[0].why_not
    assert [one for one in found.warnings if words in one]
    assert not any(row.by_hand for row in rows(found).values())


def test_a_changed_file_concerns_what_is_about_it_alone(study, tmp_path):
    made = [
        decision(study, "lag", LAG, "strap", "gonio", id=1),
        decision(study, "lag", LAG, "strap", "optical", id=2),
        decision(study, "interval", STANDING, "sleeve", id=3),
    ]
    (tmp_path / "o.csv").write_text("changed")
    found = apply_decisions(study, made)
    assert [bool(one.why_not) for one in found.decisions] == [False, True, True]
    told = [len(row.by_hand.told) if row.by_hand else 0 for row in rows(found).values()]
    assert told == [1, 1, 1, 1]


def test_what_was_decided_on_one_pair_is_known_by_its_files_when_others_are_added(tmp_path):
    (tmp_path / "one").mkdir()
    one = write(
        tmp_path / "one", "wearable", "reference",
        columns="wearable,reference", cells="a.csv,g.csv",
    )  # fmt: skip
    made = [
        decision(one, "lag", LAG, id=1),
        decision(one, "interval", STANDING, id=2),
        decision(one, "recording", OUT, id=3),
    ]
    assert all("wearable" not in each.to_record() for each in made)
    assert apply_decisions(one, made).trials[0].by_hand.lag_s == 2.0
    (tmp_path / "two").mkdir()
    two = write(
        tmp_path / "two", "wearables.strap", "wearables.sleeve", "reference",
        columns="wearable_strap,wearable_sleeve,reference", cells="a.csv,b.csv,g.csv",
    )  # fmt: skip
    found = apply_decisions(two, made)
    assert [one.why_not for one in found.decisions] == ["", "", ""]
    strap, sleeve = rows(found).values()
    assert (strap.by_hand.lag_s, strap.exclude) == (2.0, "by hand: seen")
    assert strap.static is not None
    assert sleeve.by_hand is None
    assert sleeve.static is None


def test_a_single_instrument_may_be_named_or_not(tmp_path):
    study = write(
        tmp_path, "wearables.strap", "reference",
        columns="wearable_strap,reference", cells="a.csv,g.csv",
    )  # fmt: skip
    for name in ("", "strap"):
        found = apply_decisions(study, [decision(study, "lag", LAG, name)])
        assert [row.by_hand.lag_s for row in rows(found).values()] == [2.0]
    lost = apply_decisions(study, [replace(decision(study, "lag", LAG), wearable="sleeve")])
    assert "no wearable 'sleeve'; accepted: 'strap'" in lost.decisions[0].why_not
    plain = replace(decision(study, "lag", LAG), reference="optical")
    why_not = apply_decisions(study, [plain]).decisions[0].why_not
    assert "accepted: none, since the study's [reference] has no name" in why_not


@pytest.mark.parametrize(
    ("kind", "value", "names", "words"),
    [
        ("interval", STANDING, {"reference": "gonio"}, "none, since it holds against every ref"),
        (
            "undo",
            {"of": 1},
            {"wearable": "strap"},
            "`wearable` is 'strap'; accepted for kind 'undo'",
        ),
        ("lag", LAG, {"wearable": "a b"}, "the name of a wearable in the study file"),
        ("lag", LAG, {"reference": 3}, "`reference` is 3; accepted: a text"),
    ],
)
def test_names_that_no_decision_may_have_are_refused(study, kind, value, names, words):
    with pytest.raises(ValueError, match=words.replace("(", r"\(")):
        check_decision(replace(decision(study, kind, value), **names))


def test_a_row_without_the_first_wearable_is_analysed_for_the_other(tmp_path):
    study = write(
        tmp_path, "wearables.strap", "wearables.sleeve", "reference",
        columns="wearable_strap,wearable_sleeve,reference", cells=",b.csv,g.csv",
    )  # fmt: skip
    assert not study.trials[0].exclude
    found = rows(study)
    assert found["strap", ""].exclude == "no recording of strap"
    assert not found["sleeve", ""].exclude
