"""Columns of few different words, as codes: what a million cells are read by in no time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Codes = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Coded(Sequence[Any]):
    """Values of a column: ``codes`` into ``levels``, each of which is met once there."""

    levels: tuple[Any, ...]
    codes: Codes

    def __len__(self) -> int:
        return len(self.codes)

    def __getitem__(self, place: Any) -> Any:
        return self.levels[self.codes[place]]

    def __iter__(self) -> Iterator[Any]:
        return map(self.levels.__getitem__, self.codes.tolist())


def in_order(words: set[Any]) -> tuple[Any, ...]:
    """Levels as they are listed everywhere: by name, None (not recorded) last."""
    return (*sorted(words - {None}, key=str), *([None] if None in words else []))


def coded(*columns: Sequence[Any]) -> Coded:
    """These columns under each other; levels are those that occur, in order."""
    import numpy as np

    known: dict[Any, int] = {}
    parts = []
    for column in columns:
        own = column if isinstance(column, Coded) else _of_words(column)
        new = np.array([known.setdefault(word, len(known)) for word in own.levels], dtype=np.int64)
        parts.append(new[own.codes] if len(new) else own.codes)
    codes = np.concatenate(parts)
    met = np.bincount(codes, minlength=len(known)) > 0
    words = [word for word, there in zip(known, met.tolist(), strict=True) if there]
    levels = in_order(set(words))
    place = {word: code for code, word in enumerate(levels)}
    final = np.array([place.get(word, -1) for word in known], dtype=np.int64)
    return Coded(levels, final[codes] if len(final) else codes)


def _of_words(words: Sequence[Any]) -> Coded:
    import numpy as np

    place = {word: code for code, word in enumerate(dict.fromkeys(words))}
    codes = np.fromiter(map(place.__getitem__, words), np.int64, len(words))
    return Coded(tuple(place), codes)
