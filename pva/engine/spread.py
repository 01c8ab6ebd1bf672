"""Who carries tasks out: this process, or the workers of a cluster.

A task is a function of a module and plain arguments, and its answer depends on nothing else; so
numbers are the same for any workers, and a task whose worker dies is simply done again by another.
Nothing else in the package knows which cluster it is.
"""

from __future__ import annotations

import logging
import os
import re
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError
from contextlib import contextmanager
from itertools import islice
from typing import Any, Protocol

from pva.errors import CannotCompute, FormError, Problem

AHEAD = 2  # tasks handed out or finished early, for each one that a worker does at a time
_DEATHS = 10  # workers on this machine that may die on a task before it counts as the cause
_PATIENCE = 30  # s to find a scheduler, and a first worker
_LOCAL = re.compile(r"local:([1-9]\d*)")
_ADDRESS = re.compile(r"(?!local:)(\w+://)?[^\s/:]+:\d+|\S+\.json")
_INSTALL = 'pip install "pva[cluster]"'

Known = Callable[[], Any]  # an answer that is there already; None where it is not
Finished = Callable[[int, Any], None]


class Crew(Protocol):
    """Whoever does tasks."""

    def in_order(self, function: Callable, tasks: Iterable[tuple[tuple, Known]],
                 finished: Finished) -> Iterator[Any]:
        """Answers of ``function(*task, threads=...)``, in order.

        Tasks are taken from the iterable a few ahead. One whose answer is known is not done; else
        `finished` is called with its number and answer as soon as that is there.
        """


class Here:
    """This process, one task after the other."""

    def __init__(self, threads: int | None = None):
        self._threads = threads

    def in_order(self, function: Callable, tasks: Iterable[tuple[tuple, Known]],
                 finished: Finished) -> Iterator[Any]:
        for number, (task, known) in enumerate(tasks):
            answer = known()
            if answer is None:
                answer = function(*task, threads=self._threads)
                finished(number, answer)
            yield answer


class Workers:
    """Workers of a Dask cluster; each does as many tasks at a time as it has threads."""

    def __init__(self, client: Any):
        self._client = client

    @property
    def threads(self) -> int:
        """Tasks that are done at the same time."""
        return max(1, sum(self._client.nthreads().values()))

    def on_each(self, function: Callable[[], Any]) -> list:
        """What a function without arguments gives on every worker."""
        return list(self._client.run(function).values())

    def same_on_all(self, function: Callable[[], str]) -> bool:
        """Whether a function without arguments gives on every worker what it gives here."""
        return set(self.on_each(function)) <= {function()}

    def in_order(self, function: Callable, tasks: Iterable[tuple[tuple, Known]],
                 finished: Finished) -> Iterator[Any]:
        from distributed import as_completed

        numbered = enumerate(tasks)
        answers: dict[int, Any] = {}
        running: dict[Any, int] = {}
        coming, ahead, wanted = as_completed(), AHEAD * self.threads, 0
        try:
            while True:
                # few are out or wait for their turn, so memory here does not grow
                for number, (task, known) in islice(numbered, ahead - len(running) - len(answers)):
                    answer = known()
                    if answer is not None:
                        answers[number] = answer
                        continue
                    future = self._client.submit(function, *task, threads=1, pure=False)
                    running[future] = number
                    coming.add(future)
                if not running and not answers:
                    return
                while wanted not in answers:
                    self._take(next(coming), running, answers, finished)
                yield answers.pop(wanted)
                wanted += 1
        finally:
            for future in running:
                future.cancel()

    def _take(self, future, running, answers, finished):
        from distributed.scheduler import KilledWorker

        number = running.pop(future)
        try:
            answer = future.result()
        except KilledWorker as error:
            raise CannotCompute(Problem(
                f"one worker after another died while it did part {number + 1}",
                "Give each worker more memory, or use fewer threads for each.",
                done="finished parts are kept", code="workers-died")) from error
        except (OSError, CancelledError) as error:
            raise CannotCompute(Problem(
                "the connection to the cluster is lost", "Type the same again when it is there: "
                "finished parts are not computed twice.", code="cluster-lost")) from error
        finished(number, answer)
        answers[number] = answer


@contextmanager
def workers_of(cluster: str) -> Iterator[Workers]:
    """Workers for one command.

    Parameters
    ----------
    cluster : str
        ``local:4`` = so many workers on this machine, for this command only; else the address of a
        running scheduler, such as ``tcp://head:8786``, or the file it writes.

    Raises
    ------
    FormError
        If `cluster` is neither.
    CannotCompute
        If the extra package is missing, or nobody answers at the address.
    """
    check_cluster(cluster)
    import dask
    with dask.config.set({"distributed.scheduler.allowed-failures": _DEATHS,
                          "distributed.comm.timeouts.connect": f"{_PATIENCE}s"}):
        local = _LOCAL.fullmatch(cluster)
        opened = _on_this_machine(int(local[1])) if local else _at(cluster)
        with opened as client:
            yield Workers(client)


def check_cluster(cluster: str) -> None:
    """Refuse a cluster that cannot be meant, or for which a package is missing."""
    if not (_LOCAL.fullmatch(cluster) or _ADDRESS.fullmatch(cluster)):
        raise FormError(Problem(
            f"`{cluster}` names no cluster", "Write the address of a scheduler, such as "
            "tcp://head:8786, the file it writes, or local:4 for four workers on this machine.",
            done="nothing was run", code="cluster-form"))
    try:
        import distributed  # noqa: F401
    except ImportError:
        raise CannotCompute(Problem(
            "work for a cluster needs a package that is not installed",
            f"Install it with: {_INSTALL}", done="nothing was run",
            code="cluster-not-installed")) from None


@contextmanager
def _on_this_machine(workers: int):
    from distributed import Client, LocalCluster

    with (LocalCluster(n_workers=workers, threads_per_worker=1, processes=True,
                       dashboard_address="127.0.0.1:0", silence_logs=logging.CRITICAL) as cluster,
          Client(cluster) as client):
        yield client


@contextmanager
def _at(address: str):
    from distributed import Client

    if address.endswith(".json") and not os.path.isfile(address):
        raise _nobody(address, "the file is missing")
    how = {"scheduler_file": address} if address.endswith(".json") else {"address": address}
    try:
        client = Client(**how, timeout=_PATIENCE)
    except (OSError, ValueError) as error:
        raise _nobody(address, str(error).splitlines()[0]) from None
    with client:
        try:
            client.wait_for_workers(1, timeout=_PATIENCE)
        except TimeoutError:
            raise _nobody(address, "it has no workers") from None
        yield client


def _nobody(address, why):
    return CannotCompute(Problem(
        f"nobody does tasks at {address}", "Start a scheduler and workers first; the page "
        "docs/cluster.md says how.", why=f"{why[:1].upper()}{why[1:]}", done="nothing was run",
        code="cluster-not-found"))
