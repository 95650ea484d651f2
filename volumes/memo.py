"""Results of the stages of a computation, remembered by what went into them."""

from collections import OrderedDict
from collections.abc import Callable
from threading import Lock
from typing import Any, ParamSpec, TypeVar

import numpy as np

P = ParamSpec("P")
T = TypeVar("T")


class Memo:
    """Remembers what functions gave for the last inputs of each.

    Inputs that compare by value (frozen dataclasses, numbers, tuples) are told apart by it;
    meshes, bodies, arrays and results of earlier stages by being the same object. So a stage
    is computed again where anything that it depends on has changed, and only there.

    Examples
    --------
    >>> memo = Memo()
    >>> memo(max, 2, 3), memo(max, 2, 3), memo.computed
    (3, 3, 1)
    """

    def __init__(self, keep: int = 200) -> None:
        self.computed = 0  # how often a function was really called
        self._keep = keep
        self._lock = Lock()
        self._kept: dict[Callable[..., Any], OrderedDict[tuple[Any, ...], Any]] = {}

    def __call__(self, function: Callable[P, T], *inputs: P.args, **named: P.kwargs) -> T:
        """Give what the function gives for these inputs, from memory where it can."""
        key = (*map(_key, inputs), *((name, _key(value)) for name, value in named.items()))
        with self._lock:
            kept = self._kept.setdefault(function, OrderedDict())
            if key in kept:
                kept.move_to_end(key)
                found: T = kept[key]
                return found
        result = function(*inputs, **named)
        with self._lock:
            self.computed += 1
            kept[key] = result
            while len(kept) > self._keep:
                kept.popitem(last=False)
        return result


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
        return _Same(value)
    if isinstance(value, tuple):
        return tuple(map(_key, value))
    return value
