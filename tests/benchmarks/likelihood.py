"""Time of a survival fit: 5,000 animals, 20 visits, three effects; run by hand.

    python tests/benchmarks/likelihood.py            prints
    python tests/benchmarks/likelihood.py --write    prints, and writes docs/likelihood-speed.md

Survival differs by year, source and length, detection by method. The same model is fitted with the
likelihood in plain NumPy and a gradient by differences, in the same run and from the same start.
"""

from __future__ import annotations

import argparse
import platform
import sys
import time
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from scipy.special import expit

TOP = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TOP / "tests" / "estimate"))
from simulated import simulate, yearly_visits  # noqa: E402

from pva.estimate.fit import Design, objective  # noqa: E402
from pva.estimate.likelihood import ALIVE, Histories  # noqa: E402
from pva.estimate.models import Model  # noqa: E402
from pva.estimate.survival import fit_model, prepare  # noqa: E402
from pva.files import write_text_atomic  # noqa: E402

ANIMALS, VISITS = 5000, 20
MODEL = Model(("year", "source", "length"), ("method",))
PAGE = """\
<!-- Written by tests/benchmarks/likelihood.py --write; do not change this page by hand. -->

# Speed of the survival likelihood

{animals:,} animals released in one year and looked for at {visits} yearly visits; survival by
year, source and length, detection by method: {parameters} parameters, {histories:,} different
histories.
Seconds of processor time, measured once, warm, on one core ({machine}); your machine will differ.

| what | seconds |
| --- | --- |
| the whole fit: histories grouped, two searches, standard errors | {whole:.2f} |
| one evaluation of the likelihood with its exact gradient | {once:.5f} |
| one evaluation in plain NumPy with a gradient by differences | {plain_once:.3f} |
| one search from the same start, exact gradient | {search:.2f} |
| one search from the same start, plain NumPy, gradient by differences | {plain_search:.1f} |

The search is {ratio:.0f} times as fast. Both end at the same log likelihood to {gap:.0e}.
"""


def study():
    """The records: three effects planted."""
    rng = np.random.default_rng(20)
    animals = pd.DataFrame({"released": 2000.0,
                            "source": rng.choice(["hatchery", "river"], ANIMALS),
                            "length": rng.choice(np.arange(30.0, 71.0, 5.0), ANIMALS)})
    visits = yearly_visits(2001, 2000 + VISITS, method=["hand", "raft"] * (VISITS // 2))
    return simulate(
        rng, animals=animals, visits=visits, year_sd=0.4,
        survival=lambda a: expit(2.0 + 0.3 * (a["source"] == "hatchery")
                                 + 0.2 * (a["length"] - 50) / 10),
        detection=lambda a, v: 0.6 if v["method"] == "hand" else 0.4).data()


def plain_negative(histories: Histories, design: Design):
    """Minus log likelihood in plain NumPy: all histories at once, step by step, from the last."""
    first, size = histories.first[:-1], np.diff(histories.first)

    def negative(beta):
        rates = design.rates(beta)
        later = np.ones(first.size)  # chance of what follows, given alive
        seen_later = np.zeros(first.size, bool)
        for k in range(int(size.max()) - 1, -1, -1):
            at = np.minimum(first + k, first + size - 1)
            here = k < size
            s = rates["survival"][histories.survival_row[at]] ** histories.years[at]
            p = rates["detection"][histories.detection_row[at]]
            seen = histories.seen[at] == ALIVE
            alive = s * np.where(seen, p, 1 - p) * later
            gone = np.where(seen | seen_later, 0.0, 1 - s)
            later = np.where(here, alive + gone, later)
            seen_later |= here & seen
        return -float(histories.count @ np.log(later))

    return negative


def timed(work, times: int = 1):
    """What the work gives, and its processor time in seconds."""
    begun = time.process_time()
    for _ in range(times):
        out = work()
    return out, (time.process_time() - begun) / times


def measure() -> dict:
    """All figures of the page."""
    data = study()
    fitted = fit_model(MODEL, data)  # compiles
    _, whole = timed(lambda: fit_model(MODEL, data))
    ready = prepare(MODEL, data)
    histories, design = ready.histories, ready.laid.design
    exact = objective(histories, design, np.zeros(design.size))
    plain = plain_negative(histories, design)
    start = np.zeros(design.size)
    _, once = timed(lambda: exact(start), 20)
    _, plain_one = timed(lambda: plain(start), 3)
    options = {"gtol": 1e-2, "maxiter": 200}
    ours, search = timed(lambda: minimize(exact, start, jac=True, method="BFGS", options=options))
    theirs, plain_search = timed(lambda: minimize(plain, start, method="BFGS", options=options))
    return {"animals": ANIMALS, "visits": VISITS, "parameters": design.size,
            "histories": histories.count.size, "machine": platform.machine(), "whole": whole,
            "once": once, "plain_once": plain_one * (design.size + 1), "search": search,
            "plain_search": plain_search, "ratio": plain_search / search,
            "gap": max(abs(ours.fun - theirs.fun), abs(-fitted.fit.loglik - ours.fun), 1e-12)}


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--write", action="store_true", help="write docs/likelihood-speed.md")
    page = PAGE.format(**measure())
    print(page)
    if asked.parse_args().write:
        write_text_atomic(TOP / "docs" / "likelihood-speed.md", page)


if __name__ == "__main__":
    main()
