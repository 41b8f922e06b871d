"""The parts of a run, each kept by what it takes: what is the same as before is not made again."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import is_dataclass
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from twinangle.code_identity import code_and_machine
from twinangle.kept.digest import digest_of
from twinangle.kept.keys import Key
from twinangle.kept.store import Store
from twinangle.kept.watching import part_of, watched
from twinangle.parallel import Workers

Item = TypeVar("Item")
Value = TypeVar("Value")
WHAT_IS_READ = "what is read by"
Files = Callable[[Any], Iterable[str]]


class Steps:
    """What makes the parts of a run, or takes them from what is kept.

    Parameters
    ----------
    store : Store, optional
        Where parts are kept; without one everything is made.
    folder : Path
        Where the files of the parts lie.
    study : str
        The study's title.
    fresh : bool
        Whether everything is made, whatever is kept.
    tell : callable, optional
        Called, once for each reason, with why nothing can be kept.
    """

    def __init__(
        self,
        store: Store | None = None,
        folder: Path = Path(),
        *,
        study: str = "",
        fresh: bool = False,
        tell: Callable[[str], object] = lambda _: None,
    ) -> None:
        self.store, self.folder, self.study, self.fresh = store, folder, study, fresh
        self._tell = tell
        self._code = "" if store is None else digest_of(code_and_machine())
        self._troubles: set[str] = set()
        self._digests: dict[int, tuple[object, str]] = {}
        self._read: dict[str, tuple[str, ...]] = {}  # by step: the parts it is known to read

    def take(self, key: Key) -> Any | None:
        """Return what is kept under a key, its files written; None where nothing is."""
        if self.store is None or self.fresh:
            return None
        found = self.store.take(key)
        if found is None:
            return None
        value, files = found
        for name, content in files.items():
            path = self.folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        return value

    def put(self, key: Key, value: object, files: Iterable[str] = (), *, name: str) -> None:
        """Keep a value and the files that go with it, named from the folder, as far as they are.

        `name` says what it is in a list.
        """
        if self.store is None:
            return
        packed: Mapping[str, bytes] = {
            file: (self.folder / file).read_bytes()
            for file in files
            if (self.folder / file).is_file()
        }
        trouble = self.store.put(key, (value, packed), study=self.study, name=name)
        if trouble and trouble not in self._troubles:
            self._troubles.add(trouble)
            self._tell(f"nothing is kept for the next run: {trouble}")

    def in_order(
        self,
        step: str,
        make: Callable[..., Value],
        items: Mapping[str, Item],
        workers: Workers | None = None,
        *,
        takes: Callable[[Item], Sequence[object]],
        of: Any = None,
        seen: Callable[[Any], Any] | None = None,
        files: Files = lambda _: (),
        tasks: int | None = None,
    ) -> Iterator[Value]:
        """Return what is made of each item, in order; the work on what is not kept starts at once.

        Parameters
        ----------
        step : str
            What is done.
        make : callable
            Called with an item, or with `of` and an item, by a worker.
        items : mapping
            What to work on, by names that differ.
        workers : Workers, optional
            What works; without them everything is made here, when it is asked for.
        takes : callable
            Called with an item: all that its result depends on beside `of` and the code.
        of : dataclass, optional
            What is known as a whole; a result depends on those parts of it that were read.
        seen : callable, optional
            Returns what of `of` is handed to `make`, and so all that a result can depend on; the
            same again of what it returned. Without it the whole.
        files : callable
            Called with a result: the files that `make` wrote, named from the folder.
        tasks : int, optional
            At most so many tasks make what is missing, several of it each, where `of` is large;
            one each without it.
        """
        named = {name: f"{step}: {name}" for name in items}
        taken = {name: self._parts(takes, item) for name, item in items.items()}
        shown = of if of is None or seen is None else seen(of)
        found = {name: self._found(named[name], taken[name], shown) for name in items}
        missing = [name for name, value in found.items() if value is None]
        each_task = 1 if tasks is None else max(-(-len(missing) // tasks), 1)
        workers = workers or Workers(1)
        wanted = [
            [workers.held(items[name]) for name in missing[first : first + each_task]]
            for first in range(0, len(missing), each_task)
        ]
        held = workers.held(of)
        work = partial(_made, make, shown if held is of else held, seen, self.store is not None)
        made = workers.in_order(work, wanted)

        def each() -> Iterator[Value]:
            new = (one for several in made for one in several)
            for name, value in found.items():
                if value is not None:
                    yield value[0]
                    continue
                result, read = next(new)
                parts = taken[name]
                if parts is not None:
                    self._keep(named[name], parts, shown, read, result, files(result))
                yield result

        return each()

    def _parts(self, takes: Callable[[Any], Sequence[object]], item: object) -> list[str] | None:
        """Return the hashes of what a result depends on; None where it is not to be kept."""
        if self.store is None:
            return None
        try:
            return [self._digest(part) for part in takes(item)]
        except (TypeError, ValueError):
            return None

    def _found(self, step: str, parts: list[str] | None, of: Any) -> tuple[Any] | None:
        if parts is None:
            return None
        if of is not None and step not in self._read:
            known = self.take(self._key(step, WHAT_IS_READ))
            if known is None:
                return None
            self._read[step] = known
        key = self._whole_key(step, parts, of)
        return None if key is None else self.take(key)

    def _keep(
        self,
        step: str,
        parts: list[str],
        of: Any,
        read: frozenset[str],
        value: object,
        files: Iterable[str],
    ) -> None:
        known = self._read.get(step)
        if known is None or not read.issubset(known):  # one that reads nothing is noted too
            self._read[step] = tuple(sorted(read.union(known or ())))
            self.put(self._key(step, WHAT_IS_READ), self._read[step], name=f"{WHAT_IS_READ} {step}")
        key = self._whole_key(step, parts, of)
        if key is not None:
            self.put(key, (value,), files, name=step)

    def _whole_key(self, step: str, parts: list[str], of: Any) -> Key | None:
        """Return the key of a result, by what its step takes and has ever been seen to read."""
        try:
            read = [(name, self._digest(part_of(of, name))) for name in self._read.get(step, ())]
        except (TypeError, ValueError):
            return None
        return self._key(step, (parts, read))

    def _key(self, step: str, taken: object) -> Key:
        return Key(self._code, digest_of((self.study, step)), "", digest_of(taken))

    def _digest(self, value: object) -> str:
        """Return a value's hash, which is taken once of each, and of each dataclass in a tuple."""
        known = self._digests.get(id(value))
        if known is None:
            parts = value
            if isinstance(value, tuple) and all(map(is_dataclass, value)):
                parts = [self._digest(each) for each in value]
            known = self._digests[id(value)] = (value, digest_of(parts, self.folder))
        return known[1]


def _made(
    make: Callable[..., Value],
    of: Any,
    seen: Callable[[Any], Any] | None,
    watching: bool,
    items: list[Any],
) -> list[tuple[Value, frozenset[str]]]:
    """Make what is asked for, and note what was read of the whole."""
    found = []
    if of is not None and seen is not None:
        of = seen(of)
    for item in items:
        read: set[str] = set()
        whole = () if of is None else (watched(of, read) if watching else of,)
        found.append((make(*whole, item), frozenset(read)))
    return found
