"""Work on many files side by side, with nothing left running when it ends."""

import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")


def side_by_side(
    work: Callable[[Item], Result], items: Sequence[Item], workers: int
) -> Iterator[Result | None]:
    """Give the result of each item in order, from a pool of processes.

    An item whose process dies is tried once more by itself; None where it dies again. On
    Ctrl-C the workers are stopped at once.
    """
    pool = _pool(workers)
    try:
        futures = [pool.submit(work, item) for item in items]
        for item, future in zip(items, futures, strict=True):
            try:
                yield future.result()
            except BrokenProcessPool:
                with _pool(1) as alone:
                    try:
                        yield alone.submit(work, item).result()
                    except BrokenProcessPool:
                        yield None
    except BaseException:
        for process in multiprocessing.active_children():
            process.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _pool(workers: int) -> ProcessPoolExecutor:
    """Make a pool whose workers end with this process."""
    return ProcessPoolExecutor(workers, initializer=_start_worker, initargs=(os.getpid(),))


def _start_worker(parent: int) -> None:
    """Leave Ctrl-C to the parent, and end with it, however it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(0.5)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
