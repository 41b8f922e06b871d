"""One file a sensor: which two files belong together, and the patterns of their names."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Container
from dataclasses import dataclass
from itertools import combinations

from twinangle.formats.description import FileDescription
from twinangle.init.name_pairs import pair_names
from twinangle.init.paths import Place, is_segment
from twinangle.init.recognition import Instruments, find_sensors, is_sensor, segment_of, words
from twinangle.init.sections import HERE, wearable_of_two
from twinangle.init.toml_lines import quoted

Parts = tuple[str, str, str]  # what is before a segment's word, the word, and what follows
OWN_COLUMNS = ("proximal_file", "distal_file")
SIGNS = "_-/ "


@dataclass(frozen=True, slots=True)
class SensorFile:
    """A file that holds one sensor, and the segment that channels, file or path name."""

    path: str
    place: Place
    description: FileDescription
    instruments: Instruments
    segment: str


@dataclass(frozen=True, slots=True)
class SensorPairFiles:
    """The two files of one recording."""

    proximal: SensorFile
    distal: SensorFile

    @property
    def both(self) -> tuple[SensorFile, SensorFile]:
        """The proximal sensor's file and the distal one's."""
        return self.proximal, self.distal


def lone_sensor(path: str, place: Place, description: FileDescription) -> SensorFile | None:
    """Return the file as one sensor's; None where it holds none, or both segments'.

    `segment` is empty where neither the channels nor the path tell it.
    """
    sensors = find_sensors(description)
    whole = {key: each for key, each in sensors.by_segment.items() if is_sensor(each)}
    if len(whole) == 1:
        segment, instruments = next(iter(whole.items()))
        return SensorFile(path, place, description, instruments, segment)
    if not whole and is_sensor(sensors.lone):
        named = [segment_of(words(t)) for t in re.split(r"[/_\s.-]+", path) if is_segment(t)]
        segment = named[-1] or "" if named else ""
        return SensorFile(path, place, description, sensors.lone, segment)
    return None


def pair_sensors(files: list[SensorFile]) -> tuple[list[SensorPairFiles], list[str]]:
    """Return the pairs that have the same words but for the segment, and what is left over."""
    pairs: list[SensorPairFiles] = []
    open_places: dict[tuple[frozenset[str], str], dict[str, SensorFile]] = {}
    left_over = []
    for each in files:
        if not each.segment:
            left_over.append(
                f"{each.path}: holds one sensor; neither its channels nor its name tell on which "
                "segment it was."
            )
            continue
        key = (frozenset(each.place.tokens), each.place.part)
        waiting = open_places.setdefault(key, {})
        other = "distal" if each.segment == "proximal" else "proximal"
        if other in waiting:
            found = {each.segment: each, other: waiting.pop(other)}
            pairs.append(SensorPairFiles(found["proximal"], found["distal"]))
        else:
            waiting[each.segment] = each
    alone = {each.path: each for waiting in open_places.values() for each in waiting.values()}
    named = {
        segment: [path for path, each in alone.items() if each.segment == segment]
        for segment in ("proximal", "distal")
    }
    for first, second in pair_names(named["proximal"], named["distal"]).items():
        pairs.append(SensorPairFiles(alone.pop(first), alone.pop(second)))
        left_over.append(f"{first} and {second}: taken for the two sensors of one recording.")
    left_over += [
        f"{path}: holds one sensor; no file of the other segment belongs to it by its name."
        for path in alone
    ]
    return pairs, left_over


def pair_by_label(
    files: list[SensorFile], elsewhere: Container[str]
) -> tuple[list[SensorPairFiles], tuple[str, str]] | None:
    """Return pairs of files whose names differ in which sensor it was alone, and its two names.

    Which of the two was worn where stays open: the first of each pair stands for either. A word
    that names of other files have too (`elsewhere`) tells recordings apart, not sensors. None where
    no two words halve the files, or several do at the same place of the names.
    """
    half, odd = divmod(len(files), 2)
    counts = Counter(token for each in files for token in each.place.tokens)
    words_of_half = [t for t, n in counts.items() if n == half and t not in elsewhere]
    found: dict[int, list[tuple[tuple[str, str], list[SensorPairFiles]]]] = {}
    for first, second in combinations(words_of_half, 2) if half and not odd else ():
        by_rest = [
            {tuple(t for t in each.place.tokens if t != label): each for each in files
             if label in each.place.tokens}
            for label in (first, second)
        ]  # fmt: skip
        if by_rest[0].keys() == by_rest[1].keys() and len(by_rest[0]) == half and all(by_rest[0]):
            pairs = [SensorPairFiles(one, by_rest[1][rest]) for rest, one in by_rest[0].items()]
            place = min(each.proximal.place.tokens.index(first) for each in pairs)
            found.setdefault(place, []).append(((first, second), pairs))
    last = found[max(found)] if found else []
    return (last[0][1], last[0][0]) if len(last) == 1 else None


def asking_patterns(
    pairs: list[SensorPairFiles], labels: tuple[str, str]
) -> tuple[str, list[dict[str, str]]] | None:
    """Return `[wearable.files]` with either file's pattern to choose, and each pair's cells."""
    cut = [tuple(_around(file.path, word) for file, word in zip(pair.both, labels, strict=True))
           for pair in pairs]  # fmt: skip
    found = _common_patterns(cut)
    if found is None:
        return None
    head, *given = found[0].split("\n")
    either = " or ".join(line.partition(" = ")[2] for line in given)
    lines = [f'{line.partition(" = ")[0]} = "?"   # {either}' for line in given]
    asked = [
        f"# No name tells whether {labels[0]} or {labels[1]} was on the {HERE['proximal']}:",
        "# the notes of the sessions do, or the gyroscopes while only one segment moves. It holds",
        "# for every recording.",
    ]
    return "\n".join([head, *asked, *lines]), found[1]


def _around(path: str, word: str) -> Parts:
    """Return what is before a word in a path, the word, and what follows."""
    match = re.search(rf"(?<![^\W_]){re.escape(word)}(?![^\W_])", path)
    return (path[: match.start()], word, path[match.end() :]) if match else (path, "", "")


def section_of_pair(pair: SensorPairFiles) -> str | None:
    """Return the `[wearable]` section that reads a pair, without the patterns of the names."""
    return wearable_of_two(
        (pair.proximal.description, pair.proximal.instruments),
        (pair.distal.description, pair.distal.instruments),
    )


def patterns(pairs: list[SensorPairFiles]) -> tuple[str, list[dict[str, str]]]:
    """Return the section `[wearable.files]`, and the cells that each pair fills it with.

    Where all names end alike from the segment's word on, `{wearable}` stands for what is before
    it; where all begin alike, for what follows. Where the side alone hinders that, `{side}` stands
    for it. Otherwise each name has a column of its own.
    """
    plain = _common_patterns([tuple(_cut(file) for file in pair.both) for pair in pairs])
    if plain is not None:
        return plain
    sided = [tuple(_with_side(_cut(file), file.place) for file in pair.both) for pair in pairs]
    if any("{side}" in text for both in sided for parts in both for text in parts):
        by_side = _common_patterns(sided)
        if by_side is not None:
            return by_side
    cells = [
        {name: file.path for name, file in zip(OWN_COLUMNS, pair.both, strict=True)}
        for pair in pairs
    ]
    return _files_section([f"{{{name}}}" for name in OWN_COLUMNS]), cells


def _common_patterns(cut: list[tuple[Parts, ...]]) -> tuple[str, list[dict[str, str]]] | None:
    """Return the patterns that fit all pairs of names, and the cells; None where none does."""
    named = all(word for both in cut for _, word, _ in both)
    ends = {tuple(word + after for _, word, after in both) for both in cut}
    if named and len(ends) == 1 and all(first[0] == second[0] for first, second in cut):
        stems, mark = _without_mark([first[0] for first, _ in cut], -1)
        if all(stems) and not any("{side}" in stem for stem in stems):
            names = [f"{{wearable}}{mark}{end}" for end in next(iter(ends))]
            return _files_section(names), [{"wearable": stem} for stem in stems]
    begins = {tuple(before + word for before, word, _ in both) for both in cut}
    if named and len(begins) == 1 and all(first[2] == second[2] for first, second in cut):
        stems, mark = _without_mark([first[2] for first, _ in cut], 0)
        if not any("{side}" in stem for stem in stems):
            names = [f"{begin}{mark}{{wearable}}" for begin in next(iter(begins))]
            return _files_section(names), [{"wearable": stem} for stem in stems]
    return None


def _with_side(parts: Parts, place: Place) -> Parts:
    """Return the parts of a name with `{side}` for the side, where the path names just one."""
    sides = [token for token in place.tokens if token in ("left", "right")]
    if len(sides) != 1:
        return parts
    word = re.compile(rf"(?<![^\W_]){sides[0]}(?![^\W_])")
    before, segment, after = parts
    return word.sub("{side}", before), segment, word.sub("{side}", after)


def _without_mark(stems: list[str], at: int) -> tuple[list[str], str]:
    """Return the stems without the sign that sets them apart from the segment's word, and it."""
    mark = stems[0][at : at + 1 or None]
    if (
        not mark
        or mark not in SIGNS
        or not all(len(stem) > 1 and stem[at] == mark for stem in stems)
    ):
        return stems, ""
    return [stem[1:] if at == 0 else stem[:-1] for stem in stems], mark


def _cut(file: SensorFile) -> Parts:
    """Return what is before the last word for a segment in a path, that word, and what follows."""
    found = [m for m in re.finditer(r"[^/_\s.-]+", file.path) if is_segment(m[0])]
    if not found:
        return file.path, "", ""
    match = found[-1]
    return file.path[: match.start()], match[0], file.path[match.end() :]


def _files_section(names: list[str]) -> str:
    proximal, distal = names
    return f"[wearable.files]\nproximal = {quoted(proximal)}\ndistal = {quoted(distal)}"
