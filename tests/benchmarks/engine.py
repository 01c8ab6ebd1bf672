"""How fast the engine is: `python -m tests.benchmarks.engine`.

Other programs of the same model are built and timed in one run, in turns, so that a busy machine
slows all alike; each figure is the least of its turns, in processor time of the thread. Answers are
compared as well: programs that disagree are not compared in speed. `--write` writes
docs/performance.md.
"""

import argparse
import ctypes
import os
import platform
import resource  # noqa: F401 - for the process that measures its memory
import shutil
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from datetime import date
from pathlib import Path

import numpy as np

from pva.engine.asked import nothing_asked
from pva.engine.run import simulate
from pva.model.assemble import assemble
from pva.results.fold import Fold
from pva.results.run import places_of
from tests.benchmarks import in_numba, in_numpy, start_up
from tests.benchmarks import workloads as w

HERE = Path(__file__).parent
FLAGS = {"scalar": ["-O3", "-march=native"],
         "wide": ["-O3", "-march=native", "-mprefer-vector-width=512", "-ffast-math",
                  "-fopenmp-simd"]}
NAMES = {"numpy": "vectorised NumPy", "numba": "numba, one replicate at a time, its own numbers",
         "scalar": "plain C", "wide": "C for wide instructions (ceiling)", "package": "the package"}


def instruction_set():
    """Widest instructions of this machine."""
    try:
        flags = Path("/proc/cpuinfo").read_text().split("flags", 2)[1].split("\n")[0].split()
    except (OSError, IndexError):
        return "unknown"
    return next((name for flag, name in (("avx512dq", "AVX-512"), ("avx2", "AVX2"))
                 if flag in flags), "SSE2")


def built(name, folder):
    """The C program as a function like those in Python; None without gcc or the instructions."""
    if shutil.which("gcc") is None or (name == "wide" and instruction_set() != "AVX-512"):
        return None
    library = Path(folder) / f"{name}.so"
    subprocess.run(["gcc", *FLAGS[name], "-shared", "-fPIC", str(HERE / f"{name}.c"), "-o",
                    str(library), "-lm"], check=True)
    program = ctypes.CDLL(str(library)).one_site
    numbers, whole = ctypes.POINTER(ctypes.c_double), ctypes.POINTER(ctypes.c_int64)
    program.argtypes = [ctypes.c_int64, ctypes.c_uint64, numbers, numbers, ctypes.c_double,
                        ctypes.c_double, whole, ctypes.c_int64, numbers]
    program.restype = None

    def one_site(replicates, seed, rates):
        adults = np.empty((replicates, w.YEARS + 1))
        start = np.array(w.START, dtype=np.int64)
        program(replicates, seed, rates.logit_mean.ctypes.data_as(numbers),
                rates.logit_sd.ctypes.data_as(numbers), rates.log_mean, rates.log_sd,
                start.ctypes.data_as(whole), w.YEARS, adults.ctypes.data_as(numbers))
        return adults

    return one_site


class Engine:
    """The package on a workload, without its summaries."""

    def __init__(self, scenario):
        self.resolved = scenario.resolved
        self.model = assemble(self.resolved, seed=1)

    def blocks(self, replicates, seed, threads=1, size=None, asked=None):
        return simulate(self.model.plan, self.model.draws, seed=seed, replicates=replicates,
                        threads=threads, size=size, asked=asked)

    def adults(self, replicates, seed, threads=1):
        """Adults of the river by census, shape (replicate, census)."""
        return np.concatenate([b.tallies[..., 0:2].sum(axis=(2, 3))
                               for b in self.blocks(replicates, seed, threads)])

    def spend(self, replicates, seed, threads=1):
        for _ in self.blocks(replicates, seed, threads):
            pass


def in_turns(programs, replicates, turns, years=w.YEARS):
    """Least processor time of each program in ns per replicate and year."""
    best = defaultdict(lambda: np.inf)
    for run in programs.values():
        run(replicates, 0)  # compiled and warm
    for turn in range(turns):
        for name, run in programs.items():
            start = time.thread_time()
            run(replicates, turn + 1)
            best[name] = min(best[name], (time.thread_time() - start) / replicates / years * 1e9)
    return dict(best)


def answers(adults):
    """Mean adults in years 10 and 50 and the chance to stay above the goal, with errors."""
    n = len(adults)
    goal = (adults[:, -1] >= w.ADULTS_BELOW).mean()
    return [(adults[:, 10].mean(), adults[:, 10].std() / n**0.5),
            (adults[:, -1].mean(), adults[:, -1].std() / n**0.5),
            (goal, (goal * (1 - goal) / n) ** 0.5)]


def disagreement(found):
    """Largest distance between two programs' answers, in standard errors."""
    return max(abs(a - b) / np.hypot(s, t) for one in found.values() for other in found.values()
               for (a, s), (b, t) in zip(one, other, strict=True) if s > 0 or t > 0)


def one_site(turns, replicates, folder):
    """W1: every program."""
    engine, rates = Engine(w.w1()), w.link_numbers()
    functions = {"numpy": in_numpy.one_site, "numba": in_numba.one_site}
    functions |= {name: run for name in FLAGS if (run := built(name, folder))}
    programs = {name: lambda n, s, run=run: run(n, s, rates) for name, run in functions.items()}
    found = {name: answers(run(replicates * 10, 99)) for name, run in programs.items()}
    found["package"] = answers(engine.adults(replicates * 10, 99))
    programs["package"] = engine.spend
    return in_turns(programs, replicates, turns), disagreement(found)


def ten_sites(turns, replicates):
    """W2: NumPy and the package."""
    engine, rates = Engine(w.w2()), w.link_numbers()
    programs = {"numpy": lambda n, s: in_numpy.ten_sites(n, s, rates)}
    found = {"numpy": answers(in_numpy.ten_sites(replicates * 3, 99, rates)),
             "package": answers(engine.adults(replicates * 3, 99))}
    programs["package"] = engine.spend
    return in_turns(programs, replicates, turns), disagreement(found)


def many_draws(turns, draws, replicates):
    """W3: NumPy and the package, and the package without doubt on as many replicates."""
    engine, plain = Engine(w.w3(draws, replicates)), Engine(w.w1())
    rates = [w.link_numbers()] * draws
    times = in_turns({
        "numpy": lambda n, s: in_numpy.many_draws(draws, n // draws, s, rates),
        "package": lambda n, s: engine.spend(n // draws, s),
        "one draw": plain.spend,
    }, draws * replicates, turns)
    return times


def everything(turns):
    """W1 and W4 in ns per site-year and stage."""
    one, all_on = Engine(w.w1()), Engine(w.w4())
    sites = len(all_on.model.sites)
    times = in_turns({"W1": one.spend, "W4": all_on.spend}, 1000, turns)
    return times["W1"] / len(w.STAGES), times["W4"] / len(w.STAGES) / sites


def two_threads(engine, replicates, turns):
    """Gain of a second thread: by the clock, and from processor time, were both cores free.

    On a busy machine the clock says more of its other work; processor time does not see waiting for
    each other, which serial parts would cause.
    """
    clock, cores = {1: np.inf, 2: np.inf}, {1: np.inf, 2: np.inf}
    for turn in range(turns):
        for threads in clock:
            start, spent = time.perf_counter(), time.process_time()
            engine.spend(replicates, turn + 1, threads)
            clock[threads] = min(clock[threads], time.perf_counter() - start)
            cores[threads] = min(cores[threads], time.process_time() - spent)
    return clock[1] / clock[2], 2 * cores[1] / cores[2]


def share_of_summaries(replicates, turns):
    """Processor time that summaries and goals add to a run, over that of the whole run.

    Without them nothing is kept of the years at all: a run that hands out every replicate's tallies
    takes longer.
    """
    engine = Engine(w.w1(replicates))
    places = places_of(engine.resolved, 8.0)
    bare, run = np.inf, np.inf
    for turn in range(turns):
        start = time.thread_time()
        for _ in engine.blocks(replicates, turn + 1, asked=nothing_asked()):
            pass
        bare = min(bare, time.thread_time() - start)
        start = time.thread_time()
        kept = Fold(engine.resolved, places)
        for block in engine.blocks(replicates, turn + 1, asked=kept.asked):
            kept.add(block)
        kept.finish()
        run = min(run, time.thread_time() - start)
    return 1 - bare / run


def peak_memory(replicates):
    """Peak memory in MB of a process that runs and folds W1."""
    code = ("from tests.benchmarks import workloads as w; from tests.benchmarks.engine import *; "
            f"e = Engine(w.w1({replicates})); f = Fold(e.resolved, places_of(e.resolved, 8.0));\n"
            f"for b in e.blocks({replicates}, 1, asked=f.asked): f.add(b)\n"
            "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)")
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    return float(done.stdout)


def lines_of(turns, quick):
    """The report, line by line, in Markdown."""
    with tempfile.TemporaryDirectory() as folder:
        first, apart = one_site(turns, 1000, folder)
    second, apart_2 = ten_sites(max(turns // 4, 2), 200)
    third = many_draws(max(turns // 4, 2), 20, 200)
    yield (f"Machine: {platform.machine()}, {instruction_set()}, {os.cpu_count()} processors; "
           f"{date.today():%d %B %Y}; Python {platform.python_version()}, NumPy {np.__version__}.")
    yield ""
    yield "| workload and program | ns per replicate and year | times the package |"
    yield "|---|---|---|"
    for title, times in (("W1", first), ("W2", second), ("W3", third)):
        for name, ns in times.items():
            yield f"| {title}: {NAMES.get(name, name)} | {ns:,.0f} | {ns / times['package']:.2f} |"
    yield ""
    yield (f"Answers of all programs of W1 agree within {apart:.1f} standard errors, those of W2 "
           f"within {apart_2:.1f} (means in year 10 and 50, chance of the goal).")
    yield ""
    yield "| goal | wanted | measured |"
    yield "|---|---|---|"
    for goal, wanted, measured in goals_of(first, second, third, turns, quick):
        yield f"| {goal} | {wanted} | {measured} |"
    if not quick:
        yield ""
        yield from start_up.lines_of()


def goals_of(first, second, third, turns, quick):
    """Goal, what was wanted, what was measured."""
    one, two, three = (t["numpy"] / t["package"] for t in (first, second, third))
    yield "W1 against NumPy, one thread", "5 x", f"{one:.1f} x"
    if "scalar" in first:
        yield "W1 against plain C", "2 x", f"{first['scalar'] / first['package']:.1f} x"
    if "wide" in first:
        yield "W1 against the ceiling", "within 2.0 x", f"{first['package'] / first['wide']:.2f} x"
    nesting = 100 * (third["package"] / third["one draw"] - 1)
    yield "nesting: W3 over W1", "under 10 %", f"{nesting:.0f} %"
    wall, cores = two_threads(Engine(w.w1()), 20_000, turns)
    yield "two threads over one, by the clock", "1.9 x", f"{wall:.2f} x"
    yield "two threads over one, were both cores free", "1.9 x", f"{cores:.2f} x"
    for name, wanted, ratio in (("W1", 10, one), ("W2", 8, two), ("W3", 9, three)):
        yield f"{name} against NumPy, two free cores", f"{wanted} x", f"{ratio * cores:.1f} x"
    plain, full = everything(max(turns // 4, 2))
    yield ("W4, all features on, over W1, per site-year and stage", "under 3 x",
           f"{full / plain:.1f} x ({full:.0f} over {plain:.0f} ns)")
    share = 100 * share_of_summaries(20_000, turns)
    yield "summaries and goals, share of the run", "under 5 %", f"{share:.0f} %"
    if not quick:
        few, many = peak_memory(10_000), peak_memory(1_000_000)
        yield "peak memory, 1e6 over 1e4 replicates", "1.1 x", f"{many / few:.2f} x ({many:.0f} MB)"


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--turns", type=int, default=20)
    parser.add_argument("--quick", action="store_true", help="leave out peak memory and start")
    parser.add_argument("--write", action="store_true", help="write docs/performance.md")
    asked = parser.parse_args()
    lines = []
    for line in lines_of(asked.turns, asked.quick):
        print(line, flush=True)
        lines.append(line)
    if asked.write:
        head = (HERE / "performance_head.md").read_text(encoding="utf-8")
        page = HERE.parents[1] / "docs" / "performance.md"
        page.write_text(head + "\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
