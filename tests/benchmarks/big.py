"""Memory and time of big runs, each in a process of its own; judges nothing.

    python -m tests.benchmarks.big                 # 10,000 and 100,000 trajectories
    python -m tests.benchmarks.big --million       # and 1,000,000, minutes
    python -m tests.benchmarks.big --million --write   # keeps the table in docs/reliability.md

The last row is done by two workers on this machine; its memory is that of the larger worker.
Ten sites that share their years in part and exchange recruits, 50 years, five stages.
"""

from __future__ import annotations

import json
import os
import platform
import resource
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from pva.files import write_text_atomic

TOP = Path(__file__).parents[2]
PAGE = TOP / "docs" / "reliability.md"
BEGIN, END = "<!-- big runs: made by tests/benchmarks/big.py -->", "<!-- end of big runs -->"
FEW, MANY, MILLION = 10_000, 100_000, 1_000_000
STATED_SITES, STATED_YEARS = 10, 50


def peak_mb() -> float:
    """Largest resident size of this process so far, MB (1,000,000 bytes)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6


def one(replicates: int, threads: int, keep: str, cluster: str | None) -> dict:
    """Run it here or on workers, and say what it took."""
    import pva
    from pva.results.tasks import Tasks
    from tests.benchmarks.workloads import w2

    pva.run(w2(replicates=100), seed=1, threads=threads)  # compiled and loaded
    begun = time.perf_counter()
    with Tasks(keep=keep, cluster=cluster) as tasks:
        data = pva.run(w2(replicates=replicates), seed=1, threads=threads, tasks=tasks)
        seconds, peak = time.perf_counter() - begun, max(tasks.on_each_worker(peak_mb))
    return {"replicates": replicates, "threads": threads, "cluster": cluster,
            "chunks": tasks.total, "seconds": seconds, "peak_mb": peak,
            "adults": float(data.adults_mean[-1]), "se": float(data.adults_se[-1]),
            "kept_mb": sum(f.stat().st_size for f in Path(keep).glob("*.part")) / 1e6}


def in_a_process(replicates: int, threads: int, cluster: str = "") -> dict:
    """The same in a process of its own, so that its memory is its own."""
    with TemporaryDirectory() as keep:
        done = subprocess.run(
            [sys.executable, "-m", "tests.benchmarks.big", "--one", str(replicates), str(threads),
             keep, *([cluster] if cluster else [])],
            cwd=TOP, env=os.environ, capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def table(rows: list[dict]) -> str:
    """What was measured, as a section of a page."""
    lines = [f"{STATED_SITES} sites, {STATED_YEARS} years, one draw; whole process, "
             f"{rows[0]['threads']} threads, {platform.machine()}, {_processor()}.", "",
             "| trajectories | chunks | seconds | peak memory, MB | kept parts, MB "
             "| adults in the last year, mean and its error |", "|---|---|---|---|---|---|"]
    lines += [f"| {r['replicates']:,}{', two workers' if r['cluster'] else ''} "
              f"| {r['chunks'] or 1} | {r['seconds']:.0f} | {r['peak_mb']:.0f} "
              f"| {r['kept_mb']:.1f} | {r['adults']:.1f} ± {r['se']:.1f} |" for r in rows]
    here = [r for r in rows if not r["cluster"]]
    ratio = here[-1]["peak_mb"] / here[0]["peak_mb"]
    times = here[-1]["replicates"] / here[0]["replicates"]
    return "\n".join([*lines, "", f"{times:,.0f} times the trajectories took {ratio:.2f} times the "
                      "memory."])


def _processor() -> str:
    names = [line.partition(":")[2].strip() for line in
             Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
             if line.startswith("model name")]
    return f"{os.cpu_count()} cores of {names[0]}" if names else f"{os.cpu_count()} cores"


def write(text: str) -> None:
    """Put the section into the page, between its marks."""
    page = PAGE.read_text(encoding="utf-8")
    head, tail = page.split(BEGIN)[0], page.split(END)[1]
    write_text_atomic(PAGE, f"{head}{BEGIN}\n{text}\n{END}{tail}")


def main(arguments: list[str]) -> None:
    """Measure, print, and write if asked."""
    if arguments[:1] == ["--one"]:
        replicates, threads, keep, *cluster = arguments[1:]
        print(json.dumps(one(int(replicates), int(threads), keep, *(cluster or [None]))))
        return
    sizes = [FEW, MANY, *([MILLION] if "--million" in arguments else [])]
    rows = [in_a_process(n, 2) for n in sizes] + [in_a_process(MANY, 1, "local:2")]
    print(table(rows))
    if "--write" in arguments:
        write(table(rows))


if __name__ == "__main__":
    main(sys.argv[1:])
