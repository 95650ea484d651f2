"""Results of the stages of a computation, remembered by what went into them."""

from collections import Counter, OrderedDict
from collections.abc import Callable, Iterator
from contextvars import ContextVar
from threading import Lock
from typing import Any, ParamSpec, TypeVar

import numpy as np

P = ParamSpec("P")
T = TypeVar("T")
SHORT = 200  # numbers of an array that are compared one by one
MOST = 300_000_000  # [bytes] of arrays that are kept; a changed bed of a large tank takes 40 MB
PLAIN = (str, float, int, type(None))  # that hold no array
SMALL = 2_000  # [bytes] that a result counts at least


class HaltedError(Exception):
    """A computation that was ended because nobody waits for it any more."""


HALT: ContextVar[Callable[[], bool]] = ContextVar("HALT", default=lambda: False)


class Memo:
    """Remembers what functions gave for the inputs that were asked for last.

    Inputs that compare by value (frozen dataclasses, numbers, tuples, short arrays) are told
    apart by it; meshes, bodies, arrays and results of earlier stages by being the same object.
    So a stage is computed again where anything that it depends on has changed, and only there.

    Notes
    -----
    Before each stage it is asked whether the whole is to be halted: who sets `HALT` in the
    context of a thread ends what runs there by `HaltedError`; what is done by then stays.

    Examples
    --------
    >>> memo = Memo()
    >>> memo(max, 2, 3), memo(max, 2, 3), memo.computed
    (3, 3, 1)
    """

    def __init__(self, most: int = MOST) -> None:
        self.computed = 0  # how often a function was really called
        self._most, self._bytes = most, 0
        self._lock = Lock()
        self._kept: OrderedDict[tuple[Any, ...], tuple[Any, dict[int, int]]] = OrderedDict()
        self._held: Counter[int] = Counter()  # how many results hold one array

    def __call__(self, function: Callable[P, T], *inputs: P.args, **named: P.kwargs) -> T:
        """Give what the function gives for these inputs, from memory where it can."""
        if HALT.get()():
            raise HaltedError
        key = (function, *map(_key, inputs), *((n, _key(value)) for n, value in named.items()))
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key][0]
        result = function(*inputs, **named)
        with self._lock:
            self.computed += 1
            if key not in self._kept:  # another thread may have been faster
                self._keep(key, result)
        return result

    def _keep(self, key: tuple[Any, ...], result: object) -> None:
        """Keep a result, and drop those that were not asked for longest."""
        arrays = {id(array): array.nbytes for array in _arrays_of(result)}
        self._kept[key] = result, arrays
        self._bytes += SMALL + sum(size for i, size in arrays.items() if not self._held[i])
        self._held.update(arrays.keys())
        while self._bytes > self._most and len(self._kept) > 1:
            self._drop(self._kept.popitem(last=False)[1][1])

    def _drop(self, arrays: dict[int, int]) -> None:
        """Count what no other result holds no longer."""
        self._held.subtract(arrays.keys())
        gone = [i for i in arrays if not self._held[i]]
        self._bytes -= SMALL + sum(arrays[i] for i in gone)
        for i in gone:
            del self._held[i]


class _Same:
    """Stands for one object, not for what it holds."""

    __slots__ = ("of",)

    def __init__(self, of: object) -> None:
        self.of = of

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and self.of is other.of

    def __hash__(self) -> int:
        return id(self.of)


def _key(value: Any) -> Any:
    """Give what stands for an input in a key."""
    if isinstance(value, np.ndarray):
        short = value.size <= SHORT
        return (value.dtype.str, value.shape, value.tobytes()) if short else _Same(value)
    if isinstance(value, tuple):
        return tuple(map(_key, value))
    return value


def _arrays_of(value: Any) -> Iterator[np.ndarray[Any, Any]]:
    """Give the arrays in a result; of a part the whole."""
    if isinstance(value, np.ndarray):
        yield value.base if isinstance(value.base, np.ndarray) else value
    elif isinstance(value, tuple):
        if value and not isinstance(value[0], float):
            for part in value:
                yield from _arrays_of(part)
    else:
        for name in getattr(value, "__dataclass_fields__", ()):
            part = getattr(value, name)
            if not isinstance(part, PLAIN):
                yield from _arrays_of(part)
