"""Long computations as tasks: named by what they compute, kept when finished, done by whoever can.

A task's name is the digest of its function, of everything given to it, of the random-number scheme
and of the code that computes. So a kept answer is used again only where it would be the same, and
work that was stopped goes on where it stopped, with the same numbers to the last bit.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pva
from pva.engine.random_numbers import SCHEME
from pva.engine.spread import Crew, Here, Workers, check_cluster, workers_of
from pva.errors import CannotCompute, Problem, PvaError
from pva.files.content import content_digest
from pva.files.parts import KeptParts

Progress = Callable[[int, int], None]
_COMPUTE_WITH = ("pva", "numpy", "scipy", "numba", "SALib")
_NOT_COMPUTING = {"cli", "report", "field"}  # folders whose code changes no number of a run


class Tasks:
    """How the tasks of a command are done; a context manager, for one command.

    Parameters
    ----------
    keep : path or None
        Folder in which finished tasks are kept and looked for; None = nothing is kept.
    cluster : str or None
        None = this process; ``local:4`` = so many workers on this machine; else the address of a
        Dask scheduler. Numbers do not depend on it.

    Attributes
    ----------
    total, finished, reused : int
        Tasks so far: asked for, done, and of these found among the kept ones.
    trouble : str or None
        Why finished tasks can no longer be kept.

    Raises
    ------
    FormError, CannotCompute
        If the cluster cannot be meant, or its package is not installed.
    """

    def __init__(self, *, keep: Path | str | None = None, cluster: str | None = None):
        self.cluster = cluster
        if cluster is not None:
            check_cluster(cluster)
        self.kept = None if keep is None else KeptParts(Path(keep))
        self.total = self.finished = self.reused = 0
        self.trouble: str | None = None
        self._opened = ExitStack()
        self._workers: Workers | None = None

    def __enter__(self) -> Tasks:
        return self

    def __exit__(self, *problem) -> None:
        self._workers = None
        self._opened.close()

    def carry_out(self, function: Callable, tasks: Sequence[tuple], *, threads: int | None = None,
                  progress: Progress | None = None) -> Iterator[Any]:
        """Answers of ``function(*task, threads=...)``, in the order of the tasks.

        Parameters
        ----------
        function : callable
            Of a module of the package. It gives numbers, text, arrays, and lists and mappings of
            them, and nothing but its arguments and the code decides what they are.
        tasks : sequence of tuple
            Arguments of each task.
        threads : int or None
            In this process; None = every core.
        progress : callable or None
            Called with tasks done and in all.
        """
        names = [task_name(function, task) for task in tasks] if self.kept is not None else []
        found = {i for i, name in enumerate(names) if self.kept.has(name)}
        missing = [i for i in range(len(tasks)) if i not in found]
        self.total += len(tasks)
        tell = _Counted(self, len(tasks), progress)

        def finished(number, answer):
            if names:
                self._keep(names[missing[number]], answer)
            tell()

        crew = self._crew(threads) if missing else Here(threads)
        coming = crew.in_order(function, [tasks[i] for i in missing], finished)
        with closing(coming):
            for i, task in enumerate(tasks):
                if i in found:
                    yield self._again(names[i], function, task, threads)
                    tell()
                else:
                    yield next(coming)

    def _again(self, name, function, task, threads):
        """A kept answer; where it is damaged it is computed again."""
        answer = self.kept.read(name)
        if answer is None:
            answer = function(*task, threads=threads)
            self._keep(name, answer)
        else:
            self.reused += 1
        return answer

    def _keep(self, name, answer):
        if self.trouble is None:
            try:
                self.kept.write(name, answer)
            except PvaError as error:  # the answer itself is still worth having
                self.trouble = str(error)

    def _crew(self, threads) -> Crew:
        if self.cluster is None:
            return Here(threads)
        if self._workers is None:
            workers = self._opened.enter_context(workers_of(self.cluster))
            if not workers.same_on_all(code_digest):
                raise CannotCompute(Problem(
                    f"the workers of {self.cluster} hold another version of the package",
                    "Install the same version everywhere and start the workers again.",
                    why="numbers could differ from one worker to the next",
                    done="nothing was run", code="cluster-version"))
            self._workers = workers
        return self._workers


class _Counted:
    """Counts tasks done and says so."""

    def __init__(self, tasks: Tasks, total: int, progress: Progress | None):
        self._tasks, self._total, self._progress, self._done = tasks, total, progress, 0

    def __call__(self) -> None:
        self._done += 1
        self._tasks.finished += 1
        if self._progress is not None:
            self._progress(self._done, self._total)


def task_name(function: Callable, task: tuple) -> str:
    """Digest of what a task computes: function, arguments, random-number scheme and code."""
    return content_digest([function.__module__, function.__qualname__, SCHEME, code_digest(),
                           list(task)])


@cache
def code_digest() -> str:
    """Digest of all code that may change a number, and of versions of what it computes with."""
    package = Path(pva.__file__).parent
    total = hashlib.sha256(" ".join(f"{p} {version(p)}" for p in _COMPUTE_WITH).encode())
    for source in sorted(package.rglob("*.py")):
        place = source.relative_to(package)
        if place.parts[0] not in _NOT_COMPUTING:
            total.update(place.as_posix().encode() + b"\n" + source.read_bytes())
    return total.hexdigest()
