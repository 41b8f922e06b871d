"""What the names of all files of a study tell together, and no name alone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable
from dataclasses import replace
from functools import partial
from itertools import pairwise

from twinangle.init.folder_contents import Found, Look, called_reference
from twinangle.init.paths import identity, person_in
from twinangle.init.words_in_paths import is_condition, is_device_like
from twinangle.naming import listed


def read_names_together(look: Look) -> None:
    """Take words alike but for capitals for one, and numbers that count for those of trials."""
    _one_spelling(look)
    _number_trials(look)


def lesser_words(look: Look) -> frozenset[str]:
    """Return words that say who was recorded only where no other does.

    They are those that all wearable files have, and those that no reference file has.
    """
    tokens = [set(each.place.tokens) for each in look.wearables if not each.place.part]
    always = set.intersection(*tokens) if len(tokens) > 1 else set()
    alone = _of(look.wearables) - _of(look.references) if look.references else set()
    return frozenset(always | alone)


def set_own_names_aside(look: Look) -> None:
    """Leave out the words by which one kind of file is called and the other never is.

    A word that all wearable files have and no reference is the wearable's name (or what it was
    exported by), and no condition: it would keep the two apart. Without references that holds for
    what devices are called alone, as it does for names of devices of which no recording has two.
    """
    worn = [each for each in look.wearables if not each.place.part]
    lesser = lesser_words(look)
    by_kind = {
        "wearable": _own_names(worn, look.references, lesser),
        "reference": _own_names(look.references, worn, lesser),
    }
    gone = {kind: words for kind, words in by_kind.items() if words}
    _change(look.wearables, lambda tokens: _left(tokens, gone.get("wearable", ())))
    _change(look.references, lambda tokens: _left(tokens, gone.get("reference", ())))
    called = gone.get("reference", ())
    if any(map(is_device_like, called)) and not any(map(called_reference, look.references)):
        look.questions.append(
            f"study.toml: whether {listed(called)} is a reference, as which it is written, or a "
            "second device that computes an angle, which no name tells: then it is "
            "[wearables.NAME] (docs/how-to/several-instruments.md)."
        )
    for kind, words in gone.items():
        many = "names" if len(words) > 1 else "the name"
        device = "devices" if len(words) > 1 else f"the {kind}"
        look.questions.append(
            f"trials.csv: {listed(words)} in the names of {kind} files alone "
            f"{'are' if len(words) > 1 else 'is'} taken for {many} of {device}, not for "
            f"{'conditions' if len(words) > 1 else 'a condition'}; otherwise write "
            f"{'them' if len(words) > 1 else 'it'} into the column `condition`."
        )
    _set_common_words_aside(look)


def _set_common_words_aside(look: Look) -> None:
    """Leave words that all files have out of the conditions, where known words tell those."""
    files = [each.place.tokens for each in (*look.wearables, *look.references)]
    lesser = lesser_words(look)
    always = set.intersection(*map(set, files)) if len(files) > 1 else set()
    common = sorted(word for word in always if not is_condition(word))
    told = [set(identity(tokens, lesser)["condition"].split()) for tokens in files]
    common = [word for word in common if all(word in each for each in told)]
    if not common or not all(any(map(is_condition, each)) for each in told):
        return
    for found in (look.wearables, look.references):
        _change(found, lambda tokens: _left(tokens, common))
    look.questions.append(
        f"trials.csv: {listed(common)}, which all names have, "
        f"{'are' if len(common) > 1 else 'is'} left out of the column `condition`."
    )


def _own_names(kind: list[Found], others: list[Found], lesser: frozenset[str]) -> tuple[str, ...]:
    """Return the words by which these files are called, and by which no recording is told apart."""
    always = set.intersection(*(set(each.place.tokens) for each in kind)) if kind else set()
    found: list[str] = []
    for word in sorted(_of(kind) - _of(others)):
        called = is_device_like(word) or (word in always and bool(others))
        if called and not is_condition(word):
            own = [each.place.tokens for each in kind if word in each.place.tokens]
            left = [_left(each.place.tokens, [*found, word]) for each in kind]
            apart = {frozenset(identity(tokens, lesser).items()) for tokens in left}
            no_more = all(word in identity(t, lesser)["condition"].split() for t in own)
            found += [word] if no_more and len(apart) == len(kind) else []
    return tuple(found)


def _number_trials(look: Look) -> None:
    """Take bare numbers that count from 1 behind one word for those of trials, or for a code's."""
    several = [found for found in (look.wearables, look.references, look.unknown) if found]
    if not several:
        return
    numbers: dict[str, set[str]] = {}
    for each in (*look.wearables, *look.references):
        for before, word in pairwise(each.place.tokens):
            if word.isdigit():
                numbers.setdefault(before, set()).add(word)
    always = set.intersection(*(set(each.place.tokens) for found in several for each in found))
    coded = any(person_in(each.place.tokens)[1] for found in several for each in found)
    codes = {
        before
        for before, words in numbers.items()
        if not coded and before in always and person_in([before])[0] and len(words) > 1
    }
    counted = {
        before
        for before, words in numbers.items()
        if sorted(map(int, words)) == list(range(1, len(words) + 1)) and len(words) > 1
    }
    for found in several:
        _change(found, partial(_numbered, codes=codes, counted=counted - codes))


def _numbered(
    tokens: tuple[str, ...], *, codes: Collection[str], counted: Collection[str]
) -> tuple[str, ...]:
    """Return the words with numbers joined to the code before them, or told as trials."""
    found: list[str] = []
    for before, word in pairwise(("", *tokens)):
        rest = [token for token in tokens if token != word]
        if word.isdigit() and before in codes:
            found[-1] = f"{before}-{word}"
        elif word.isdigit() and before in counted and person_in(rest)[0] is not None:
            found.append(f"trial-{word}")
        else:
            found.append(word)
    return tuple(found)


def _one_spelling(look: Look) -> None:
    """Write words that differ in capitals alone as most files have them, and say so."""
    of_word: dict[str, Counter[str]] = {}
    files = [*look.wearables, *look.references, *look.unknown]
    for each in files:
        for word in each.place.tokens:
            of_word.setdefault(word.casefold(), Counter())[word] += 1
    usual = {word: spelt.most_common(1)[0][0] for word, spelt in of_word.items()}
    several = [word for word, spelt in of_word.items() if len(spelt) > 1]
    if not several:
        return
    for found in (look.wearables, look.references, look.unknown):
        _change(found, lambda tokens: tuple(usual[word.casefold()] for word in tokens))
    pairs = [" and ".join(repr(one) for one in sorted(of_word[word])) for word in several]
    more = f" and {len(pairs) - 3} more" if len(pairs) > 3 else ""
    look.questions.append(
        f"trials.csv: words of the names that differ in capitals alone are taken for the same: "
        f"{', '.join(pairs[:3])}{more}."
    )


def _of(found: Iterable[Found]) -> set[str]:
    return {word for each in found for word in each.place.tokens}


def _left(tokens: tuple[str, ...], words: Iterable[str]) -> tuple[str, ...]:
    return tuple(token for token in tokens if token not in words)


def _change(found: list[Found], how: Callable[[tuple[str, ...]], tuple[str, ...]]) -> None:
    found[:] = [
        replace(each, place=replace(each.place, tokens=how(each.place.tokens))) for each in found
    ]
