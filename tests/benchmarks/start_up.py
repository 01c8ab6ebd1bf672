"""What a first and a later run cost before they compute: `python -m tests.benchmarks.start_up`.

Whole processes, by processor time, of which a busy machine says little wrong, and by the clock,
which users see; each figure is the least of some turns. Compiled code is kept in a folder of its
own, empty at the beginning; so are Python's modules, which an installation compiles beforehand.
"""

import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from pva.files import shipped

COMMAND = "import sys; {}from pva.cli import main; main(sys.argv[1:])"
NO_DASK = "sys.modules['dask'] = None; "
HERE, ALONE = COMMAND.format(""), COMMAND.format(NO_DASK)
LOADING = f"import sys; {NO_DASK}import pva.cli, pva.results.summary, pva.results.run, h5netcdf"
ENGINE = """
import sys, time
from numba.core import event
from pva.model.assemble import assemble
from pva.engine.run import simulate
from tests.benchmarks.workloads import w1
model = assemble(w1().resolved, seed=1)
with event.install_recorder("numba:compile") as seen:
    begun, by_clock = time.process_time(), time.perf_counter()
    list(simulate(model.plan, model.draws, seed=1, replicates=10, threads=1))
    spent = time.process_time() - begun, time.perf_counter() - by_clock
    print(*spent, sum(e.is_start for _, e in seen.buffer))
"""
TURNS = 5


def spent(*arguments, **where):
    """Processor seconds, and seconds by the clock, of a Python process and of those it starts."""
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True, **where)
    after, ended = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return used, ended - begun


def surroundings(folder):
    """Environment of a user whose compiled code is kept in a folder, whatever this one says."""
    own = {"NUMBA_CACHE_DIR": f"{folder}/code", "PYTHONPYCACHEPREFIX": f"{folder}/modules",
           "OMP_NUM_THREADS": "1"}
    return {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"} | own


def lines_of(turns=TURNS):
    """The section, line by line, in Markdown."""
    with tempfile.TemporaryDirectory() as folder:
        kept = {"env": surroundings(folder)}
        done = subprocess.run([sys.executable, "-c", ENGINE], check=True, capture_output=True,
                              text=True, **kept)
        *compiling, functions = done.stdout.split()
        study = Path(folder) / "hesperwell"
        shutil.copytree(shipped("scenarios/hesperwell"), study)
        scenario = str(study / "scenarios" / "base.yaml")
        first = spent("-c", HERE, "estimate", str(study), **kept)
        rows = [("compiling the engine, once", [float(s) for s in compiling], "5 s"),
                ("first `pva estimate` of the demo, likelihoods compiled", first, "")]
        for words, arguments, wanted in (
            ("`pva run` of the demo scenario", ("-c", ALONE, "run", scenario), "2 s"),
            ("of which: loading modules, and nothing else", ("-c", LOADING), ""),
            ("`pva run` where the cluster extra is installed", ("-c", HERE, "run", scenario), ""),
            ("`pva check` of the demo scenario", ("-c", HERE, "check", scenario), "1 s"),
            ("`pva --help`", ("-c", HERE, "--help"), "0.15 s"),
            ("`import pva`", ("-c", "import pva"), "0.3 s"),
        ):
            times = [spent(*arguments, **kept) for _ in range(turns)]
            rows.append((words, [min(kind) for kind in zip(*times, strict=True)], wanted))
    yield f"Start, in seconds ({functions} functions of the engine are compiled):"
    yield ""
    yield "| what | wanted | processor | clock |"
    yield "|---|---|---|---|"
    for words, (processor, clock), wanted in rows:
        yield f"| {words} | {wanted} | {processor:.2g} | {clock:.2g} |"


if __name__ == "__main__":
    print("\n".join(lines_of()))
