"""Long computations as tasks: named by what they compute, kept when finished, done by whoever can.

A task's name is the digest of its function, of everything given to it, of the random-number scheme
and of the code that computes. So a kept answer is used again only where it would be the same, and
work that was stopped goes on where it stopped, with the same numbers to the last bit.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, closing
from functools import cache, partial
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
        Tasks so far: asked for, done, and of these found among those kept by an earlier command.
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
        self._written: set[str] = set()  # a search may ask twice for the same
        self._opened = ExitStack()
        self._workers: Workers | None = None

    def __enter__(self) -> Tasks:
        return self

    def __exit__(self, *problem) -> None:
        self._workers = None
        self._opened.close()

    def carry_out(self, function: Callable, tasks: Iterable[tuple], *, total: int,
                  threads: int | None = None, progress: Progress | None = None) -> Iterator[Any]:
        """Answers of ``function(*task, threads=...)``, in the order of the tasks.

        Parameters
        ----------
        function : callable
            Of a module of the package. It gives numbers, text, arrays, and lists and mappings of
            them, never None, and nothing but its arguments and the code decides what they are.
        tasks : iterable of tuple
            Arguments of each task; taken a few ahead.
        total : int
            How many there are.
        threads : int or None
            In this process; None = every core.
        progress : callable or None
            Called with tasks done and in all.
        """
        self.total += total
        names: dict[int, str] = {}
        done = 0

        def one_more():
            nonlocal done
            done += 1
            self.finished += 1
            if progress is not None:
                progress(done, total)

        def known(number):
            answer = self.kept.read(names[number]) if names else None
            if answer is not None:
                self.reused += names.pop(number) not in self._written
                one_more()
            return answer

        def jobs():
            for number, task in enumerate(tasks):
                if self.kept is not None:
                    names[number] = task_name(function, task)
                yield task, partial(known, number)

        def finished(number, answer):
            if names:
                self._keep(names.pop(number), answer)
            one_more()

        with closing(self._crew(threads).in_order(function, jobs(), finished)) as answers:
            yield from answers

    def _keep(self, name, answer):
        if self.trouble is None:
            try:
                self.kept.write(name, answer)
                self._written.add(name)
            except PvaError as error:  # the answer itself is still worth having
                self.trouble = str(error)

    @property
    def workers(self) -> int:
        """Tasks that are done at the same time."""
        crew = self._crew(None)
        return crew.threads if isinstance(crew, Workers) else 1

    def on_each_worker(self, function: Callable[[], Any]) -> list:
        """What a function without arguments gives on every worker; here, where there is none."""
        crew = self._crew(None)
        return crew.on_each(function) if isinstance(crew, Workers) else [function()]

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
