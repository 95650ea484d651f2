"""Work on strangers' files within limits of memory and time, with nothing left running after.

The whole program goes on in a child process (`supervise`). Its parent does nothing but look at the
memory of the child and of the workers that it starts, so it can stop them, and say why, whatever
library they are in. Where the system does not tell of other processes (no /proc), each looks at its
own. Time is kept by an alarm of the system that ends a process by itself.
"""

import contextlib
import os
import select
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from plumbstone.meshes.limits import MOST_MEMORY, MOST_SECONDS, raised

if TYPE_CHECKING:
    from concurrent.futures import Future, ProcessPoolExecutor

Item = TypeVar("Item")
Result = TypeVar("Result")
PROC = Path("/proc")
FULL = 99  # exit code of a process that found itself too large
CLEANED = 3.0  # [s] after which what was stopped by Ctrl-C should have ended
OFTEN = 0.02  # [s], least between two looks at the memory
FASTEST = 20e9  # [bytes/s], faster than a machine for a desk can fill its memory


def side_by_side(
    work: Callable[[Item], Result], items: Sequence[Item], workers: int
) -> Iterator[Result | None]:
    """Give the result of each item in order, from a pool of processes.

    An item whose process dies is tried once more by itself; None where it dies again. On
    Ctrl-C the workers are stopped at once.
    """
    import multiprocessing
    from concurrent.futures.process import BrokenProcessPool

    end_time_limit()  # it holds for each item from here on
    work = partial(_within_time, work)
    pool = _pool(workers)
    try:
        futures = _submitted(pool, work, items)
        for item, future in zip(items, futures, strict=True):
            try:
                yield future.result()
            except BrokenProcessPool:
                with _pool(1) as alone:
                    try:
                        yield _submitted(alone, work, [item])[0].result()
                    except BrokenProcessPool:
                        yield None
    except BaseException:
        for process in multiprocessing.active_children():
            process.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _pool(workers: int) -> "ProcessPoolExecutor":
    """Make a pool whose workers end with this process."""
    from concurrent.futures import ProcessPoolExecutor

    return ProcessPoolExecutor(workers, initializer=_start_worker, initargs=(os.getpid(),))


def _submitted(
    pool: "ProcessPoolExecutor", work: Callable[[Item], Result], items: Sequence[Item]
) -> "list[Future[Result]]":
    """Start the workers of a pool; Ctrl-C waits, as the hooks of a fork would swallow it."""
    if not hasattr(signal, "pthread_sigmask"):
        return [pool.submit(work, item) for item in items]
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        return [pool.submit(work, item) for item in items]
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _start_worker(parent: int) -> None:
    """Leave Ctrl-C to the parent, and end with it, however it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _end_with(parent)
    _end_when_full()


def _within_time(work: Callable[[Item], Result], item: Item) -> Result:
    """Do one item; the system ends this process where it takes too long."""
    _set_time_limit(raised(MOST_SECONDS))
    try:
        return work(item)
    finally:
        end_time_limit()


def _set_time_limit(seconds: float) -> None:
    """Have the system end this process after some time; 0 takes that back."""
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, seconds)


def end_time_limit() -> None:
    """Take the time limit from this process, such as for one that waits for people."""
    _set_time_limit(0)


def supervise() -> int | None:
    """Split the program into one that works within limits and one that watches it.

    None in the process that is to do the work, and where the system cannot split; in the other,
    once that has ended, the exit code to end with.
    """
    if not hasattr(os, "fork"):
        return None
    parent = os.getpid()
    child = os.fork()
    if child:
        return _watch(child)
    _end_with(parent)
    _end_when_full()
    _set_time_limit(raised(MOST_SECONDS))
    sys.unraisablehook = _told_unless_passed_on
    signal.signal(signal.SIGINT, _Interrupt())
    return None


def _watch(child: int) -> int:
    """Wait for the process that works; stop what takes too much memory; say what happened."""
    most = _most_memory()
    stopped: list[float] = []  # when Ctrl-C came, and when it was passed on again

    def stop(*_: object) -> None:
        stopped.append(time.monotonic())
        _kill(child, signal.SIGINT)

    signal.signal(signal.SIGINT, stop)
    full, pause = False, OFTEN
    while True:
        _wait_for(child, pause)
        if stopped and time.monotonic() > stopped[-1] + CLEANED:
            stop()  # some library swallowed it
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            code = os.waitstatus_to_exitcode(status)
            if code == FULL:
                code, full = -signal.SIGKILL, True
            return _exit_code(code, full, most)
        used = {process: _memory_of(process) for process in _family(child)}
        free = most - sum(used.values())
        pause = max(OFTEN, free / FASTEST)
        if free < 0:
            largest = max(used, key=lambda process: used[process])
            full = full or largest == child
            _kill(largest, signal.SIGKILL)


def _exit_code(code: int, full: bool, most: int) -> int:
    """Turn how the working process ended into an exit code, with a word where it was stopped."""
    if code >= 0:
        return code
    number = -code
    stopped, how = number in (signal.SIGKILL, signal.SIGALRM), "plumbstone --limits 2 ..."
    if number == signal.SIGALRM:
        reason = f"stopped at the limit of {raised(MOST_SECONDS)} s; take less, or raise it: {how}"
    elif full:
        reason = f"stopped at the limit of {most / 1e9:.1f} GB of memory; take smaller scans or a"
        reason += f" wider --grid, or raise it: {how}"
    elif stopped:
        reason = "stopped by the system, maybe for want of memory; take smaller scans."
    elif number == signal.SIGINT:
        return 130
    else:
        reason = f"a library broke down (signal {number}), maybe over a damaged file; report it."
    sys.stderr.write(f"plumbstone: {reason}\n")
    return 1 if stopped else 3


def _told_unless_passed_on(fault: "sys.UnraisableHookArgs") -> None:
    """Say nothing of a Ctrl-C that some callback swallowed: it is passed on again."""
    if not issubclass(fault.exc_type, KeyboardInterrupt):
        sys.__unraisablehook__(fault)


class _Interrupt:
    """Takes Ctrl-C, and none that follows soon, so that cleaning up is not broken off."""

    def __init__(self) -> None:
        self.last = -CLEANED

    def __call__(self, *_: object) -> None:
        """Stop what goes on."""
        now = time.monotonic()
        if now - self.last > CLEANED / 2:
            self.last = now
            raise KeyboardInterrupt


def _kill(process: int, number: int) -> None:
    """Send a signal; it may have ended just now."""
    with contextlib.suppress(ProcessLookupError):
        os.kill(process, number)


def _wait_for(child: int, seconds: float) -> None:
    """Wait until a child ends, or some time; shorter where its end cannot be waited for."""
    try:
        handle = os.pidfd_open(child)
    except (AttributeError, OSError):
        time.sleep(OFTEN)
        return
    try:
        select.select([handle], [], [], seconds)
    finally:
        os.close(handle)


def _family(process: int) -> list[int]:
    """List a process and its descendants (Linux; elsewhere none)."""
    found = [process]
    for member in found:  # grows as it is walked
        for task in (PROC / str(member) / "task").glob("*/children"):
            with contextlib.suppress(OSError):
                found += [int(word) for word in task.read_text().split()]
    return found


def _memory_of(process: int) -> int:
    """Memory that a process holds of its own [bytes]; 0 where that cannot be told."""
    try:
        pages = (PROC / str(process) / "statm").read_text().split()
    except OSError:
        return 0
    return (int(pages[1]) - int(pages[2])) * os.sysconf("SC_PAGE_SIZE")


def _most_memory() -> int:
    """Give the most that the program may take [bytes]: never all that the machine has."""
    try:
        machine = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (ValueError, OSError):
        return raised(MOST_MEMORY)
    return min(raised(MOST_MEMORY), machine * 8 // 10)


def _end_when_full() -> None:
    """Have this process end itself over the limit of memory, where no other can look at it."""
    if _memory_of(os.getpid()):
        return
    import resource

    unit = 1 if sys.platform == "darwin" else 1024  # of ru_maxrss, as getrusage(2) tells
    most = _most_memory() // unit

    def watch() -> None:
        while resource.getrusage(resource.RUSAGE_SELF).ru_maxrss <= most:
            time.sleep(OFTEN)
        os._exit(FULL)

    threading.Thread(target=watch, daemon=True).start()


def _end_with(parent: int) -> None:
    """End this process when its parent has ended, however that was."""
    if sys.platform == "linux":
        import ctypes

        ctypes.CDLL(None).prctl(1, int(signal.SIGKILL))  # PR_SET_PDEATHSIG of linux/prctl.h
        if os.getppid() != parent:
            os._exit(1)
        return

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(0.5)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
