"""Work shared out: tasks done by any `concurrent.futures.Executor`, each within a limit of time.

Conventions
- Only a few tasks are out at a time. Times are seconds.
- A task that kills its worker, or takes too long, costs its own outcome and no other's.
"""

from __future__ import annotations

import faulthandler
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, ProcessPoolExecutor, wait

from harmonylib.classroom.difficulty import Outcome, Task
from harmonylib.errors import HarmonyError


def outcomes_of(
    tasks: Iterator[Task], work: Callable[[Task], Outcome], executor: Executor | None, width: int, limit_s: float
) -> Iterator[tuple[Task, Outcome]]:
    """Each task with its outcome, as they come; never more than a few tasks a worker are out.

    When workers die, what was out is done once more, each task alone, so that only the one that kills gets the blame;
    the others go on in new processes.
    """
    pool: ProcessPoolExecutor | None = None
    out: dict[Future[Outcome], Task] = {}
    waiting = next(tasks, None)
    try:
        while waiting or out:
            broken: list[Task] = []
            while waiting and len(out) < 4 * width and not broken:
                if executor is None:
                    executor = pool = _pool(width)
                try:
                    out[_submit(executor, pool, work, waiting, limit_s)] = waiting
                except BrokenExecutor:
                    broken.append(waiting)
                waiting = next(tasks, None)
            for future in wait(out, return_when=FIRST_COMPLETED).done:
                task = out.pop(future)
                try:
                    yield task, future.result()
                except BrokenExecutor:
                    broken.append(task)
                except Exception as error:  # an executor may fail in ways of its own
                    yield task, Outcome(None, f"the worker failed ({type(error).__name__}: {str(error)[:120]})", False)
            if broken:
                wait(out)
                for future, task in out.items():
                    if future.exception():
                        broken.append(task)
                    else:
                        yield task, future.result()
                out.clear()
                if pool:
                    pool.shutdown()
                executor = pool = None
                yield from _one_by_one(sorted(broken), work, limit_s)
    finally:
        for future in out:
            future.cancel()
        if pool:
            pool.shutdown(cancel_futures=True)


def _submit(
    executor: Executor, own: Executor | None, work: Callable[[Task], Outcome], task: Task, limit_s: float
) -> Future[Outcome]:
    """Hands out a task; in processes of our own, under the clock."""
    return executor.submit(_timed, work, task, limit_s) if executor is own else executor.submit(work, task)


def _one_by_one(
    tasks: Iterable[Task], work: Callable[[Task], Outcome], limit_s: float
) -> Iterator[tuple[Task, Outcome]]:
    """The same in one process, a new one after each that dies."""
    pool = None
    try:
        for task in tasks:
            pool = pool or _pool(1)
            start = time.monotonic()
            try:
                yield task, pool.submit(_timed, work, task, limit_s).result()
            except BrokenExecutor:
                pool.shutdown()
                pool = None
                late = time.monotonic() - start >= limit_s
                why = f"it took longer than {limit_s:g} s" if late else "the process that worked on it died"
                yield task, Outcome(None, why, sure=False)
    finally:
        if pool:
            pool.shutdown()


def _pool(jobs: int) -> ProcessPoolExecutor:
    """New processes that are seen to work; spawned, because a forked thread may hold a lock for ever."""
    pool = ProcessPoolExecutor(jobs, multiprocessing.get_context("spawn"), _start)
    try:
        pool.submit(int).result()
    except BrokenExecutor:
        pool.shutdown()
        raise HarmonyError(
            'no worker process starts: in a script, call survey under if __name__ == "__main__":, or pass an executor'
        ) from None
    return pool


def _start() -> None:
    """What a worker does first: leave Ctrl-C to its parent, and not outlive it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_follow, daemon=True).start()


def _follow() -> None:
    parent = multiprocessing.parent_process()
    if parent:
        parent.join()
        os._exit(1)


def _timed(work: Callable[[Task], Outcome], task: Task, limit_s: float) -> Outcome:
    """The outcome, or the end of this process when it takes too long: nothing milder stops a loop in every case."""
    with open(os.devnull, "w") as nowhere:
        faulthandler.dump_traceback_later(limit_s, exit=True, file=nowhere)
        try:
            return work(task)
        finally:
            faulthandler.cancel_dump_traceback_later()
