"""What is remembered, of what, and for how long."""

import threading

import numpy as np
import pytest

from plumbstone.volumes.memo import HALT, HaltedError, Memo


def zeros(count: int, value: float = 0.0) -> np.ndarray:
    return np.full(count, value)


def test_small_arrays_count_by_content_and_large_ones_by_being_the_same() -> None:
    memo = Memo()
    assert memo(np.sum, np.array([1.0, 2.0])) == memo(np.sum, np.array([1.0, 2.0])) == 3
    assert memo.computed == 1
    memo(np.sum, np.array([1, 2]))  # the same numbers of another kind are another input
    assert memo.computed == 2
    large = np.ones(10**5)
    memo(np.sum, large)
    memo(np.sum, large)
    assert memo.computed == 3
    memo(np.sum, large.copy())
    assert memo.computed == 4


def test_names_of_inputs_count() -> None:
    memo = Memo()
    assert memo(zeros, 2, value=1.0).tolist() == [1, 1]
    assert memo(zeros, 2, value=2.0).tolist() == [2, 2]
    assert memo(zeros, 2, value=1.0) is memo(zeros, 2, value=1.0)
    assert memo.computed == 2


def test_what_was_not_asked_for_longest_goes_first() -> None:
    memo = Memo(most=2_600_000)  # room for three arrays of 0.8 MB
    for count in (100_000, 100_001, 100_002):
        memo(zeros, count)
    memo(zeros, 100_000)  # asked for again, so it stays
    memo(zeros, 100_003)
    assert memo.computed == 4
    for count in (100_000, 100_002, 100_003):
        memo(zeros, count)
    assert memo.computed == 4
    memo(zeros, 100_001)
    assert memo.computed == 5


def test_an_array_in_two_results_counts_once() -> None:
    memo = Memo(most=1_700_000)
    shared = np.zeros(100_000)  # 0.8 MB

    def first(_: int) -> np.ndarray:
        return shared

    for number in range(50):  # of its own each would be far too much
        memo(first, number)
    for number in range(50):
        memo(first, number)
    assert memo.computed == 50


def test_one_result_is_kept_however_large() -> None:
    memo = Memo(most=10)
    memo(zeros, 10**5)
    memo(zeros, 10**5)
    assert memo.computed == 1


def test_a_halt_ends_before_the_next_stage_and_keeps_what_is_done() -> None:
    memo = Memo()
    memo(zeros, 3)
    token = HALT.set(lambda: True)
    try:
        with pytest.raises(HaltedError):
            memo(zeros, 4)
        with pytest.raises(HaltedError):
            memo(zeros, 3)
    finally:
        HALT.reset(token)
    memo(zeros, 3)
    assert memo.computed == 1


def test_what_fails_is_not_remembered() -> None:
    memo, tries = Memo(), []

    def shaky(_: int) -> int:
        tries.append(1)
        if len(tries) == 1:
            raise ValueError("not yet")
        return 7

    with pytest.raises(ValueError, match="not yet"):
        memo(shaky, 1)
    assert memo(shaky, 1) == 7


def test_threads_get_one_answer() -> None:
    memo, gate = Memo(), threading.Barrier(4)
    found: list[np.ndarray] = []

    def ask() -> None:
        gate.wait()
        found.append(memo(zeros, 5000))

    threads = [threading.Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == 4
    assert all((part == 0).all() for part in found)
    kept = memo(zeros, 5000)
    assert any(part is kept for part in found)
