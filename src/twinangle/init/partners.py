"""Which reference belongs to which wearable file, by the words of their names."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from twinangle.init.name_pairs import pair_names
from twinangle.init.words_in_paths import CLOCK, is_condition, is_device_like

Words = Mapping[str, Sequence[str]]  # of each path, those that single out the trial


def paired(trials: Words, references: Words, *, one_each: bool = True) -> dict[str, str]:
    """Return the path of each trial's reference.

    It has the same words; or the same but for the time of day, which two instruments begin at of
    their own; or the same but for conditions and devices that no file of the other kind names; or
    what the two names differ in is the same for all.

    Parameters
    ----------
    trials, references : mapping of str to sequence of str
        The words of each file.
    one_each : bool
        Whether a reference goes with one trial alone.
    """
    pairs = _of_the_same(trials, references, frozenset(), one_each=one_each)
    clocks = {word for each in (*trials.values(), *references.values()) for word in each}
    clocks = {word for word in clocks if CLOCK.fullmatch(word)}
    _add(pairs, trials, references, clocks, one_each=one_each)
    _add(pairs, trials, references, clocks | _of_one_kind(trials, references), one_each=one_each)
    left = [path for path in references if path not in pairs.values()]
    by_names = pair_names([path for path in trials if path not in pairs], left)
    lone = len(trials) == len(references) == 1
    return pairs | {
        path: other
        for path, other in by_names.items()
        if lone or not _of_other_conditions(trials[path], references[other])
    }


def _add(
    pairs: dict[str, str],
    trials: Words,
    references: Words,
    without: Collection[str],
    *,
    one_each: bool,
) -> None:
    """Pair what is left by its words without some."""
    used = set(pairs.values()) if one_each else set()
    left = {path: words for path, words in references.items() if path not in used}
    alone = {path: words for path, words in trials.items() if path not in pairs}
    pairs |= _of_the_same(alone, left, without, one_each=one_each)


def _of_the_same(
    trials: Words, references: Words, without: Collection[str], *, one_each: bool
) -> dict[str, str]:
    """Return pairs of the same words, where no other file has them."""
    of_trials, of_references = (_by_words(each, without) for each in (trials, references))
    found: dict[str, str] = {}
    for words, paths in of_trials.items():
        others = of_references.get(words, [])
        if words and len(others) == 1 and (len(paths) == 1 or not one_each):
            found |= {
                path: others[0]
                for path in paths
                if not _of_other_conditions(trials[path], references[others[0]])
            }
    return found


def _by_words(files: Words, without: Collection[str]) -> dict[frozenset[str], list[str]]:
    found: dict[frozenset[str], list[str]] = {}
    for path, words in files.items():
        found.setdefault(frozenset(words) - frozenset(without), []).append(path)
    return found


def _of_one_kind(trials: Words, references: Words) -> set[str]:
    """Return the conditions and devices that trials alone name, or references alone."""
    own, other = (
        {
            word
            for words in each.values()
            for word in words
            if is_condition(word) or is_device_like(word)
        }
        for each in (trials, references)
    )
    return own ^ other


def _of_other_conditions(first: Sequence[str], second: Sequence[str]) -> bool:
    """Tell whether each of two names speaks of a condition that the other does not."""
    own, other = (
        {word.lower() for word in words if is_condition(word)} for words in (first, second)
    )
    return bool(own - other and other - own)
