"""What a first and a later run cost before they compute: `python -m tests.benchmarks.start_up`.

Processor seconds of whole processes, so that a busy machine says little wrong; each figure is the
least of some turns. Compiled code is kept in a folder of its own, empty at the beginning.
"""

import os
import resource
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from pva.files import shipped

COMMAND = "import sys; {}from pva.cli import main; main(sys.argv[1:])"
HERE, ALONE = COMMAND.format(""), COMMAND.format("sys.modules['dask'] = None; ")
ENGINE = """
import sys, time
from numba.core import event
from pva.model.assemble import assemble
from pva.engine.run import simulate
from tests.benchmarks.workloads import w1
model = assemble(w1().resolved, seed=1)
with event.install_recorder("numba:compile") as seen:
    begun = time.process_time()
    list(simulate(model.plan, model.draws, seed=1, replicates=10, threads=1))
    print(time.process_time() - begun, sum(e.is_start for _, e in seen.buffer))
"""
TURNS = 5


def spent(*arguments, **where):
    """Processor seconds of a Python process and of those that it starts."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run([sys.executable, *arguments], check=True, capture_output=True, **where)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def lines_of(turns=TURNS):
    """The section, line by line, in Markdown."""
    with tempfile.TemporaryDirectory() as folder:
        kept = {"env": os.environ | {"NUMBA_CACHE_DIR": f"{folder}/code", "OMP_NUM_THREADS": "1"}}
        done = subprocess.run([sys.executable, "-c", ENGINE], check=True, capture_output=True,
                              text=True, **kept)
        compiling, functions = done.stdout.split()
        study = Path(folder) / "hesperwell"
        shutil.copytree(shipped("scenarios/hesperwell"), study)
        scenario = str(study / "scenarios" / "base.yaml")
        first = spent("-c", HERE, "estimate", str(study), **kept)
        rows = [("compiling the engine, once", float(compiling), "5 s"),
                ("first `pva estimate` of the demo, likelihoods compiled", first, "")]
        for words, arguments, wanted in (
            ("`pva run` of the demo scenario", ("-c", ALONE, "run", scenario), "2 s"),
            ("the same where the cluster extra is installed", ("-c", HERE, "run", scenario), ""),
            ("`pva check` of the demo scenario", ("-c", HERE, "check", scenario), "1 s"),
            ("`pva --help`", ("-c", HERE, "--help"), "0.15 s"),
            ("`import pva`", ("-c", "import pva"), "0.3 s"),
        ):
            times = [spent(*arguments, **kept) for _ in range(turns)]
            rows.append((words, min(times), wanted))
    yield f"Start, in processor seconds ({functions} functions of the engine are compiled):"
    yield ""
    yield "| what | wanted | measured |"
    yield "|---|---|---|"
    for words, seconds, wanted in rows:
        yield f"| {words} | {wanted} | {seconds:.2g} s |"


if __name__ == "__main__":
    print("\n".join(lines_of()))
