"""The file of decisions: written by several at once, read strictly, and which of them stand."""

from __future__ import annotations

import json
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from twinangle.errors import StudyError
from twinangle.study.decisions import (
    DECISIONS,
    Decision,
    append_decision,
    check_decision,
    read_decisions,
)
from twinangle.study.standing_decisions import in_force, standings

HASH = "0123456789abcdef" * 4
P01, P02 = "P01 outdoor session 1 trial 1", "P02 outdoor session 1 trial 1"


def decision(kind, value=None, recording=P01, who="R1", why="looked odd", **fields):
    """Return a decision fit to be written."""
    filled = {"input": HASH, "version": "0.1", "when": "2026-11-28T02:00:00Z"} | fields
    return Decision(who, recording, kind, value or {}, why, **filled)


def cycle(start_s, *, use=False, **fields):
    """Return a decision on one cycle."""
    return decision("cycle", {"start_s": start_s, "use": use}, **fields)


def undo(of, **fields):
    """Return a decision that undoes another."""
    return decision("undo", {"of": of}, **fields)


def blind(on, **fields):
    """Return a decision to hide the agreement, or to show it again."""
    return decision("blind", {"on": on}, recording="*", why="", input="", **fields)


def numbered(*several):
    """Return decisions with the ids that the file would give."""
    return tuple(replace(each, id=number) for number, each in enumerate(several, start=1))


def write_lines(folder, *records):
    """Write plain values, a line each."""
    text = "".join(json.dumps(record) + "\n" for record in records)
    (folder / DECISIONS).write_text(text, encoding="utf-8")


def test_what_is_appended_is_read_again(tmp_path):
    several = (
        decision("lag", {"lag_s": 1.25, "drift_ppm": -12.0}),
        decision("lag", {"lag_s": 2}),
        decision("interval", {"which": "standing", "start_s": 1.0, "end_s": 4.5}),
        cycle(12.34, why="stumbled – über die Kante"),
        decision("recording", {"use": False}, recording=P02),
        decision("looked", why=""),
        undo(4),
        blind(True),
    )
    written = [append_decision(tmp_path, each) for each in several]
    assert read_decisions(tmp_path) == tuple(written)
    assert written == list(numbered(*several))
    assert [path.name for path in tmp_path.iterdir()] == [DECISIONS]


def test_the_line_has_the_keys_in_order_and_is_utf_8(tmp_path):
    append_decision(tmp_path, cycle(1.0, why="über"))
    line = (tmp_path / DECISIONS).read_bytes()
    assert line.endswith(b"}\n")
    assert "über".encode() in line
    keys = ["id", "when", "who", "recording", "kind", "value", "why", "version", "input"]
    assert list(json.loads(line)) == keys


def test_a_folder_without_decisions_has_none(tmp_path):
    assert read_decisions(tmp_path) == ()


def write_many(folder: str, who: str, n: int) -> None:
    """Append decisions, as another process does."""
    for number in range(n):
        append_decision(Path(folder), cycle(float(number), who=who))


def test_two_processes_lose_nothing(tmp_path):
    spawned = get_context("spawn")
    several = [
        spawned.Process(target=write_many, args=(str(tmp_path), who, 200)) for who in ("R1", "R2")
    ]
    for process in several:
        process.start()
    for process in several:
        process.join(120)
    assert [process.exitcode for process in several] == [0, 0]
    found = read_decisions(tmp_path)
    assert [each.id for each in found] == list(range(1, 401))
    for who in ("R1", "R2"):
        starts = [each.value["start_s"] for each in found if each.who == who]
        assert starts == [float(number) for number in range(200)]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"id": 0}, "`id` is 0; accepted: a whole number from 1"),
        ({"id": True}, "`id` is True"),
        ({"when": "28.11.2026"}, "`when` is '28.11.2026'; accepted: a time in UTC such as 2026"),
        ({"when": "2026-02-30T00:00:00Z"}, "`when`"),
        ({"who": "Erika Mustermann"}, "looks like a person's name; accepted: a code"),
        ({"who": "e.m@example.org"}, "holds an @"),
        ({"who": "1970-01-31"}, "date"),
        ({"who": " "}, "`who`"),
        ({"recording": ""}, "`recording`"),
        ({"recording": "*"}, "accepted: the name of one recording"),
        ({"kind": "cycles"}, "`kind` is 'cycles'; accepted: lag, interval, cycle, recording"),
        ({"why": " "}, "`why` is empty; a decision of kind 'cycle' needs its reason"),
        ({"why": "x" * 2001}, "2001 characters"),
        ({"why": None}, "`why` is None; accepted: a text"),
        ({"version": ""}, "`version` is empty"),
        ({"input": "abc"}, "`input` is 'abc'; accepted: a SHA-256"),
        ({"value": [1]}, "`value` is [1]; accepted: an object with the keys start_s, use"),
        ({"value": {"start_s": 1.0}}, "lacks 'use'; accepted keys for kind 'cycle': start_s, use"),
        ({"value": {"start_s": 1.0, "use": True, "x": 1}}, "unknown key 'x'"),
        ({"value": {"start_s": "1", "use": True}}, "start_s = '1'; accepted: a finite number"),
        ({"value": {"start_s": 1e31, "use": True}}, "accepted: a finite number"),
        ({"value": {"start_s": 1.0, "use": 1}}, "use = 1; accepted: true or false"),
        ({"kind": "lag", "value": {"lag_s": 1.0, "drift_ppm": 1e5}}, "within ±10000 ppm"),
        (
            {"kind": "interval", "value": {"which": "walk", "start_s": 1.0, "end_s": 2.0}},
            "accepted: 'standing' or 'functional' or 'analysed'",
        ),
        (
            {"kind": "interval", "value": {"which": "standing", "start_s": 2.0, "end_s": 2.0}},
            "not after its start",
        ),
        ({"kind": "undo", "value": {"of": 3}}, "of = 3; accepted: the id of an earlier decision"),
        ({"kind": "blind", "value": {"on": True}}, "accepted for kind 'blind': '*'"),
        ({"colour": "red"}, "has the unknown key 'colour'; accepted keys: id, when"),
    ],
)
def test_a_damaged_line_says_what_is_accepted(tmp_path, change, words):
    good = replace(cycle(1.0), id=1).to_record()
    write_lines(tmp_path, good, good | {"id": 2} | change)
    with pytest.raises(StudyError) as caught:
        read_decisions(tmp_path)
    assert str(caught.value).startswith(f"{DECISIONS}, line 2: ")
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (b"{", "is not one JSON object"),
        (b"[1]", "holds [1]; accepted: one JSON object"),
        (b'{"id": 1, "id": 2}', "has the key 'id' twice"),
        (b'{"id": NaN}', "holds NaN; accepted: finite numbers"),
        (b'{"id": 1}', "lacks 'when', 'who'"),
        (b'"\xff"', "byte 1 is not UTF-8"),
        (b"[" * 100_000, "nested too deep"),
    ],
)
def test_what_is_no_decision_is_named(tmp_path, line, words):
    (tmp_path / DECISIONS).write_bytes(line + b"\n")
    with pytest.raises(StudyError, match="line 1: ") as caught:
        read_decisions(tmp_path)
    assert words in str(caught.value)


def test_every_damaged_line_is_told_at_once(tmp_path):
    (tmp_path / DECISIONS).write_bytes(b"1\n\n2\n")
    with pytest.raises(StudyError) as caught:
        read_decisions(tmp_path)
    assert [text.split(":")[0] for text in str(caught.value).split("\n")] == [
        f"{DECISIONS}, line 1",
        f"{DECISIONS}, line 3",
    ]


@given(st.data())
def test_a_torn_last_line_is_named_and_nothing_is_written_behind_it(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("torn")
    for start in (1.0, 2.0):
        append_decision(folder, cycle(start))
    path = folder / DECISIONS
    whole = path.read_bytes()
    first = whole.index(b"\n") + 1
    torn = whole[: data.draw(st.integers(first + 1, len(whole) - 1))]
    path.write_bytes(torn)
    with pytest.raises(StudyError, match="line 2: was not written to its end"):
        read_decisions(folder)
    with pytest.raises(StudyError, match="line 2"):
        append_decision(folder, cycle(3.0))
    assert path.read_bytes() == torn


def test_what_cannot_be_written_leaves_the_file_as_it_was(tmp_path):
    append_decision(tmp_path, cycle(1.0))
    before = (tmp_path / DECISIONS).read_bytes()
    for wrong in (cycle(1.0, why=""), undo(2), undo(1, recording=P02), cycle(float("nan"))):
        with pytest.raises(StudyError, match="cannot be written"):
            append_decision(tmp_path, wrong)
    assert (tmp_path / DECISIONS).read_bytes() == before


def test_ids_of_two_copies_put_together_are_named(tmp_path):
    one = replace(cycle(1.0), id=1).to_record()
    write_lines(tmp_path, one, one)
    with pytest.raises(StudyError, match="`id` is 1 after 1; accepted: numbers that grow"):
        read_decisions(tmp_path)


def test_a_link_out_of_the_study_is_not_followed(tmp_path):
    study = tmp_path / "study"
    study.mkdir()
    (tmp_path / "elsewhere").write_text("", encoding="utf-8")
    (study / DECISIONS).symlink_to(tmp_path / "elsewhere")
    for act in (lambda: read_decisions(study), lambda: append_decision(study, cycle(1.0))):
        with pytest.raises(StudyError, match="leaves the study folder"):
            act()


def stand(*several):
    """Return the ids of the decisions that stand."""
    return [each.id for each in in_force(numbered(*several))]


def test_the_later_stands_over_the_earlier_of_the_same_thing_alone():
    lag = decision("lag", {"lag_s": 1.0})
    standing = decision("interval", {"which": "standing", "start_s": 1.0, "end_s": 2.0})
    walk = decision("interval", {"which": "analysed", "start_s": 1.0, "end_s": 2.0})
    assert stand(lag, lag) == [2]
    assert stand(lag, replace(lag, recording=P02)) == [1, 2]
    assert stand(standing, walk, standing) == [2, 3]
    assert stand(cycle(1.0), cycle(2.0), cycle(1.02, use=True)) == [2, 3]
    assert stand(decision("looked"), decision("looked")) == [1, 2]


def test_an_undo_brings_back_what_stood_before_and_can_be_undone():
    lag = decision("lag", {"lag_s": 1.0})
    assert stand(lag, lag, undo(2)) == [1, 3]
    assert stand(lag, undo(1)) == [2]
    assert stand(lag, undo(1), undo(2)) == [1, 3]
    told = standings(numbered(lag, lag, undo(2)))
    assert [each.why_not for each in told] == ["", "undone by 3", ""]


@given(st.lists(st.sampled_from([1.0, 2.0, 3.0]), max_size=6), st.floats(0, 9))
def test_a_decision_and_its_undo_leave_the_others_as_they_were(starts, new):
    before = [cycle(start) for start in starts]
    after = stand(*before, cycle(new), undo(len(before) + 1))
    assert after[:-1] == stand(*before)


@given(st.permutations([(P01, 1.0), (P01, 5.0), (P02, 1.0), (P02, 5.0)]))
def test_the_order_of_decisions_on_different_things_does_not_matter(order):
    found = in_force(numbered(*(cycle(start, recording=name) for name, start in order)))
    assert {(each.recording, each.value["start_s"]) for each in found} == set(order)


def test_who_had_the_agreement_hidden_is_known_of_each_decision():
    told = standings(
        numbered(cycle(1.0), blind(True), cycle(2.0), cycle(3.0, who="R2"), blind(False), cycle(4))
    )
    assert [each.hidden for each in told] == [False, False, True, False, False, False]


@pytest.mark.parametrize("odd", ["\n", "\x00", "\ud800", "\u2028"])
def test_a_reason_is_one_line_of_text(odd):
    odd_one = decision("recording", {"use": False}, why=f"moved{odd}twice")
    with pytest.raises(ValueError, match="one line without control characters"):
        check_decision(odd_one)
    check_decision(replace(odd_one, why="動いた\u3000ずれた"))
