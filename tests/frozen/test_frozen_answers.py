"""Every shipped scenario still gives the very same answer, for any threads and compiled cache."""

from __future__ import annotations

import copy
import os
import subprocess
import sys

import pytest
from frozen_answers import STOCKED, TOP, answer, differences, head, kept, names

NAMES = names()
WHAT_TO_DO = ("The answer of a shipped scenario has changed. If that is meant, write its reason "
              "into docs/changelog.md and run: python -m tests.frozen.refresh")


def test_every_shipped_scenario_is_kept_and_nothing_else():
    assert list(kept()["answers"]) == NAMES, WHAT_TO_DO
    assert kept()["made with"] == head()
    assert set(STOCKED) <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_the_answer_is_the_same(name):
    """Tallies in other blocks on two threads, odd places; even places on one."""
    threads = 1 + NAMES.index(name) % 2
    found = differences(kept()["answers"].get(name, {}), answer(name, threads=threads))
    assert not found, "\n".join([WHAT_TO_DO, *found])


def test_a_single_different_number_is_found():
    old = kept()["answers"]["no-field-data"]
    new = copy.deepcopy(old)
    new["adults"]["q50"][2] += 1
    new["tallies"]["recruits"] = "00000000"
    found = differences(old, new)
    assert len(found) == 2
    assert found[0].startswith("adults q50: kept [") and found[1].endswith("now 00000000")


NOTHING_KEPT = """
import sys
from numba.core import caching
for kind in (caching.IndexDataCacheFile, caching.CacheImpl, caching.CompileResultCacheImpl):
    if hasattr(kind, "_locator_classes"):
        kind._locator_classes = []
from pva.engine import kernel
assert kernel.simulate_block.stats.cache_path is None
from tests.frozen.refresh import main
sys.exit(main(["--check"]))
"""


def check(*how: str, **environment: str) -> str:
    done = subprocess.run([sys.executable, *how], capture_output=True, text=True, check=False,
                          cwd=TOP, env=os.environ | environment, timeout=600)
    assert done.returncode in (0, 1), done.stderr
    return done.stdout.strip()


@pytest.mark.slow
def test_freshly_compiled_code_and_then_kept_code_give_the_same(tmp_path):
    script = ("-m", "tests.frozen.refresh", "--check")
    assert check(*script, NUMBA_CACHE_DIR=str(tmp_path)) == "nothing differs"
    assert list(tmp_path.rglob("kernel.simulate_block*.nbc"))
    assert check(*script, "--two-threads", NUMBA_CACHE_DIR=str(tmp_path)) == "nothing differs"


@pytest.mark.slow
def test_code_that_is_kept_nowhere_gives_the_same():
    assert check("-c", NOTHING_KEPT) == "nothing differs"
