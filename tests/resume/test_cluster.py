"""The same numbers from workers in processes of their own, also when one of them dies."""

from __future__ import annotations

import builtins
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from rivers import VARY, few_at_a_time, plain, river

from pva.decide.explore import explore
from pva.decide.sensitivity import sensitivity
from pva.decide.stock import stock
from pva.engine import spread
from pva.engine.spread import Workers, check_cluster
from pva.errors import CannotCompute, FormError
from pva.results import tasks as tasks_module
from pva.results.run import run
from pva.results.tasks import Tasks

MOST_SECONDS = 600
MOST_MB = 1000  # docs/cluster.md states it


class Cluster:
    """A scheduler and workers, each a process that this test started."""

    def __init__(self, folder: Path, workers: int):
        self._folder, self.file = folder, folder / "scheduler.json"
        self._begin("scheduler", "--no-dashboard", "--scheduler-file", str(self.file), "--port",
                    "0", "--host", "127.0.0.1")
        self.workers = [self._begin("worker", "--scheduler-file", str(self.file), "--nthreads",
                                    "1", "--no-nanny", "--no-dashboard", "--name", f"w{i}")
                        for i in range(workers)]

    def _begin(self, kind, *arguments):
        with (self._folder / f"{kind}.log").open("ab") as log:
            process = subprocess.Popen(
                [sys.executable, "-m", f"distributed.cli.dask_{kind}", *arguments],
                cwd=self._folder, stdout=log, stderr=log,
                env=os.environ | {"DASK_DISTRIBUTED__WORKER__LIFETIME__RESTART": "false"})
        self._started = [*getattr(self, "_started", []), process]
        return process

    def wait(self) -> str:
        """The scheduler's address once all workers are there."""
        from distributed import Client

        until = time.monotonic() + MOST_SECONDS
        while not self.file.is_file() and time.monotonic() < until:
            time.sleep(0.05)
        with Client(scheduler_file=str(self.file), timeout=MOST_SECONDS) as client:
            client.wait_for_workers(len(self.workers), timeout=MOST_SECONDS)
            return client.scheduler.address

    def end(self) -> None:
        for process in reversed(self._started):
            process.kill()
            process.wait()


@pytest.fixture
def cluster(tmp_path):
    pytest.importorskip("distributed")
    some = Cluster(tmp_path, 3)
    yield some
    some.end()


def largest_mb(address: str) -> float:
    """Peak resident size of the largest worker."""
    from distributed import Client

    def peak_mb():  # inside, so that it travels whole: workers know no tests
        import resource
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6

    with Client(address) as client:
        return max(client.run(peak_mb).values())


def kill_one_after(parts: int, worker: subprocess.Popen):
    """A progress function that kills a worker in mid-run."""
    def tell(done, total):
        if done >= parts and worker.poll() is None:
            worker.send_signal(signal.SIGKILL)
            worker.wait()
    return tell


@pytest.mark.slow
def test_the_same_numbers_on_workers_one_of_which_is_killed(cluster, tmp_path, monkeypatch):
    few_at_a_time(monkeypatch, 150)
    scenario = river(runs={"draws": 9, "replicates": 500, "seed": 5})
    address = cluster.wait()
    here = plain(run(scenario, threads=1))
    with Tasks(cluster=address) as three:
        assert plain(run(scenario, tasks=three)) == here
    assert three.finished == three.total > 25
    with Tasks(cluster=str(cluster.file), keep=tmp_path / "kept") as fewer:
        kill = kill_one_after(3, cluster.workers[0])
        grid = explore(scenario, VARY, tasks=fewer, progress=kill)
        assert cluster.workers[0].returncode == -signal.SIGKILL, "killed in mid-run"
    assert (fewer.finished, fewer.reused) == (9, 0)
    assert plain(grid) == plain(explore(scenario, VARY, threads=1))
    small = river()
    with Tasks(cluster=address) as two:
        kill = kill_one_after(2, cluster.workers[1])
        assert plain(sensitivity(small, tasks=two, progress=kill)) == plain(
            sensitivity(small, threads=1))
        assert cluster.workers[1].returncode == -signal.SIGKILL
        assert plain(stock(small, tasks=two)) == plain(stock(small, threads=1))
    assert largest_mb(address) < MOST_MB


@pytest.mark.slow
def test_workers_on_this_machine_and_kept_parts_from_here(tmp_path, monkeypatch):
    """Half of the points are finished here, the others by two workers."""
    pytest.importorskip("distributed")
    some = VARY | {"number": [0, 20]}
    with Tasks(keep=tmp_path) as first:
        explore(river(), some, threads=1, tasks=first)
    with Tasks(keep=tmp_path, cluster="local:2") as second:
        found = explore(river(), VARY, tasks=second)
        assert second.workers == 2
    assert (second.reused, second.total) == (6, 9)
    assert plain(found) == plain(explore(river(), VARY, threads=1))


class Later:
    """An answer of a pretended cluster."""

    def __init__(self, value):
        self._value = value

    def result(self):
        return self._value

    def cancel(self):
        pass


def double(value, *, threads):
    assert threads == 1
    return {"twice": 2 * value}


def test_answers_come_in_order_whatever_order_they_are_done_in(monkeypatch):
    distributed = pytest.importorskip("distributed")
    handed_out, most = [], 0

    class Client:
        def nthreads(self):
            return {"a": 2, "b": 1}

        def submit(self, function, *task, threads, pure):
            nonlocal most
            handed_out.append(task)
            most = max(most, len(handed_out) - len(seen))
            return Later(function(*task, threads=threads))

    class LastFirst:
        def __init__(self):
            self._waiting = []

        def add(self, future):
            self._waiting.append(future)

        def __next__(self):
            return self._waiting.pop()

    monkeypatch.setattr(distributed, "as_completed", LastFirst)
    seen, finished = [], {}
    known = {3: {"twice": 6}, 17: {"twice": 34}}
    jobs = (((i,), lambda i=i: known.get(i)) for i in range(50))
    for answer in Workers(Client()).in_order(double, jobs, finished.__setitem__):
        seen.append(answer["twice"])
    assert seen == [2 * i for i in range(50)]
    assert sorted(finished) == [i for i in range(50) if i not in known]
    assert [t for t, in handed_out] == sorted(finished)
    assert most <= spread.AHEAD * 3, "what is out or waits for its turn is bounded"


def test_workers_with_other_code_are_refused(monkeypatch):
    pytest.importorskip("distributed")
    from contextlib import contextmanager

    class Other(Workers):
        def same_on_all(self, function):
            return False

    @contextmanager
    def workers_of(cluster):
        yield Other(None)

    monkeypatch.setattr(tasks_module, "workers_of", workers_of)
    with Tasks(cluster="tcp://head:8786") as some, pytest.raises(CannotCompute) as error:
        run(river(), tasks=some)
    assert str(error.value) == (
        "the workers of tcp://head:8786 hold another version of the package. numbers could differ "
        "from one worker to the next. Nothing was run. Install the same version everywhere and "
        "start the workers again.")


@pytest.mark.parametrize("wrong", ["local:0", "local:", "local", "head", "local:two", ""])
def test_what_is_no_cluster_is_refused(wrong):
    with pytest.raises(FormError) as error:
        Tasks(cluster=wrong)
    assert str(error.value) == (
        f"`{wrong}` names no cluster. Nothing was run. Write the address of a scheduler, such as "
        "tcp://head:8786, the file it writes, or local:4 for four workers on this machine.")


def test_a_missing_package_is_named_with_its_command(monkeypatch):
    usual = builtins.__import__

    def without(name, *more):
        if name.split(".")[0] in ("distributed", "dask"):
            raise ImportError(name)
        return usual(name, *more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(CannotCompute) as error:
        check_cluster("local:4")
    assert str(error.value) == (
        "work for a cluster needs a package that is not installed. Nothing was run. Install it "
        'with: pip install "pva[cluster]".')


def test_only_one_module_knows_the_cluster():
    package = Path(spread.__file__).parents[1]
    knows = {p.relative_to(package).as_posix() for p in package.rglob("*.py")
             if re.search(r"import (dask|distributed)|distributed import", p.read_text("utf-8"))}
    assert knows == {"engine/spread.py"}
