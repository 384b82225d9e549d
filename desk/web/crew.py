"""Worker processes, and a queue before them that is fair among phones.

Each phone's jobs wait in a line of their own, and the lines are served in turn: a phone that sends
twelve photos does not keep another waiting for all twelve. A worker that dies (out of memory, a
fault in a library) takes no job with it: the job is given to a new one. A job that does not end is
ended with its worker.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import signal
from collections import OrderedDict, deque
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from typing import Any

from desk.web.work import ready, warm

TRIES = 3
"""A job that has ended so many workers is given up, and says so."""

MOST_S = 300
"""Seconds after which a job is ended: twelve photos teach a table in less than one."""

Job = tuple[Callable[[Any], Any], Any, asyncio.Future]


class WorkerLost(RuntimeError):
    """A job ended its worker again and again, or did not end."""


def in_time(function: Callable[[Any], Any], job: Any, most_s: float) -> Any:
    """``function(job)``, in a worker; where it takes longer, the system ends the worker, which it
    can even where the job has stopped in a library."""
    signal.setitimer(signal.ITIMER_REAL, most_s)
    try:
        return function(job)
    except StopIteration as error:  # no future can hold one: whoever waits would wait for ever
        raise RuntimeError(f"{function.__name__} found nothing where something must be") from error
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)


@contextmanager
def deaf_to_ctrl_c() -> Iterator[None]:
    """Whoever is begun meanwhile never hears Ctrl-C, which a terminal sends to workers as well as
    to the server: the server ends them."""
    before = signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGINT])
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


class Crew:
    """So many workers; ``do`` hands a job to them and waits for its result."""

    def __init__(self, workers: int, niceness: int, most_s: float = MOST_S) -> None:
        self._workers = workers
        self._niceness = niceness
        self._most_s = most_s
        self._lines: OrderedDict[str, deque[Job]] = OrderedDict()
        self._waiting = asyncio.Condition()
        self._pool = self._new_pool()
        self._tasks: list[asyncio.Task[None]] = []

    def _new_pool(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(
            self._workers,
            mp_context=multiprocessing.get_context("spawn"),
            initializer=warm,
            initargs=(self._niceness, os.getpid()),
        )

    def start(self) -> None:
        """Begin to serve the lines; call once, from the running event loop."""
        self._tasks = [asyncio.create_task(self._serve()) for _ in range(self._workers)]
        self._begin_workers()

    def _begin_workers(self) -> None:
        with deaf_to_ctrl_c(), suppress(BrokenProcessPool):  # which the first job meets too
            for _ in range(self._workers):
                self._pool.submit(ready)

    async def do(self, line: str, function: Callable[[Any], Any], job: Any) -> Any:
        """``function(job)`` in a worker, after what waits in other lines had its turn."""
        done = asyncio.get_running_loop().create_future()
        async with self._waiting:
            self._lines.setdefault(line, deque()).append((function, job, done))
            self._waiting.notify()
        return await done

    def ahead(self) -> int:
        """How many jobs wait."""
        return sum(map(len, self._lines.values()))

    async def _next(self) -> Job:
        async with self._waiting:
            await self._waiting.wait_for(lambda: self._lines)
            line, jobs = self._lines.popitem(last=False)
            job = jobs.popleft()
            if jobs:
                self._lines[line] = jobs  # to the end: the other lines come first
            return job

    async def _serve(self) -> None:
        while True:
            function, job, done = await self._next()
            try:
                result = await self._persist(function, job)
            except Exception as error:
                if not done.cancelled():
                    done.set_exception(error)
            else:
                if not done.cancelled():
                    done.set_result(result)

    async def _persist(self, function: Callable[[Any], Any], job: Any) -> Any:
        loop = asyncio.get_running_loop()
        for _ in range(TRIES):
            pool = self._pool
            begun = loop.time()
            try:
                return await loop.run_in_executor(pool, in_time, function, job, self._most_s)
            except BrokenProcessPool:
                if self._pool is pool:
                    self._pool = self._new_pool()
                    self._begin_workers()
                    pool.shutdown(wait=False)
                if loop.time() - begun >= self._most_s:
                    raise WorkerLost(f"{function.__name__} took over {self._most_s} s") from None
        raise WorkerLost(f"{function.__name__} ended its worker {TRIES} times")

    async def stop(self) -> None:
        """End the workers; jobs that were not finished are begun anew by the next server."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        self._pool.shutdown(wait=False, cancel_futures=True)
