"""Compiled code: where nothing can be kept on disk, in one piece or not, and what it is handed."""

import subprocess
import sys
from typing import NamedTuple

import numpy as np
import pytest
from numba import njit

from pva.compiled import entry, inner
from pva.engine.held import Held

NOTHING_KEPT = """
from numba.core import caching
for kind in (caching.IndexDataCacheFile, caching.CacheImpl, caching.CompileResultCacheImpl):
    if hasattr(kind, "_locator_classes"):
        kind._locator_classes = []
from numba import njit
try:
    njit(cache=True)(lambda: 0)
except RuntimeError:
    print("nothing can be kept")
import numpy as np
from pva.engine import kernel
from pva.estimate import likelihood, likelihood_growth, likelihood_joint
for function in (kernel.simulate_block, likelihood_growth.growth_loglik,
                 likelihood_joint.joint_loglik_and_gradient, likelihood.loglik_and_gradient):
    print(type(function).__name__, function.stats.cache_path)
none, one = np.zeros(0), np.zeros(1, dtype=int)
h = likelihood.Histories(np.array([0, 1]), np.ones(1), one, one - 1, one - 1, one, one - 1,
                         np.ones(1), one + likelihood.ALIVE, np.ones(1))
print(round(likelihood.loglik_and_gradient(h, np.array([0.5]), none, none, np.array([0.5]),
                                           none)[0] / np.log(0.25), 12))
"""

OTHER_COMPILER = """
import numba
import numba.core.codegen
del numba.core.codegen.JITCodeLibrary
from pva.compiled import entry, inner
@inner()
def twice(x):
    return 2 * x
@entry()
def four_times(x):
    return twice(twice(x))
print(four_times._compiler.pipeline_class.__module__, four_times(3))
"""


KEPT = """
import sys
import numpy as np
from pva.compiled import entry, kept
@entry()
def half(x):
    return x / 2.0
@kept()
def halves(n):
    return np.ones(n) / 2.0
for function, given in ((half, 6.0), (halves, 2)):
    print(function(given), sum(function.stats.cache_hits.values()))
from numba import njit
print(njit(lambda x: half(x) + 1.0)(6.0))
try:
    entry()(lambda x: half(x))(6.0)
except TypeError as error:
    print(error)
"""


def lines_of(code):
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def test_an_install_that_cannot_be_written_still_loads_engine_and_likelihoods():
    assert lines_of(NOTHING_KEPT) == ["nothing can be kept", *["CPUDispatcher None"] * 4, "1.0"]


def test_kept_code_is_brought_back_and_is_no_part_of_other_kept_code(tmp_path, monkeypatch):
    """Other code, which is not kept, may still call it."""
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "code"))
    program = tmp_path / "program.py"
    program.write_text(KEPT, encoding="utf-8")
    refused = ["an entry is called from Python alone; what both call is a part"]
    for hits in (0, 1):
        assert lines_of(f"import runpy; runpy.run_path({str(program)!r})") == [
            f"3.0 {hits}", f"[0.5 0.5] {hits}", "4.0", *(refused if IN_ONE_PIECE else [])]


def test_a_compiler_without_the_inner_classes_compiles_in_its_own_way():
    assert lines_of(OTHER_COMPILER) == ["numba.core.compiler 12"]


class Pair(NamedTuple):
    row: np.ndarray
    times: float


class Box(NamedTuple):
    table: np.ndarray
    flags: np.ndarray
    pair: Pair
    number: int


@inner()
def _add(pair, out):
    for i in range(len(out)):
        out[i] += pair.row[i] * pair.times


@inner()
def _fill(box, out):
    for i in range(len(out)):
        out[i] = box.table[box.number, i] if box.flags[i] else -1.0
    _add(box.pair, out)


@entry()
def filled(box, out):
    _fill(box, out)
    box.table[0, 1] = 7.0
    return box.table.shape[1] + box.flags.size


# not with another version of the compiler
IN_ONE_PIECE = filled._compiler.pipeline_class.__module__ == "pva.compiler"


def box():
    table = np.arange(6.0).reshape(2, 3)
    return Box(table, np.array([True, False, True]), Pair(np.array([1.0, 2.0, 3.0]), 0.5), 1)


def test_a_held_record_reads_and_writes_as_the_record_itself():
    record, out = box(), np.zeros(3)
    assert filled(Held(record), out) == 6
    assert out.tolist() == [3.5, 0.0, 6.5]
    assert record.table[0, 1] == 7.0


def test_another_kind_of_array_is_another_type_and_not_read_as_the_first():
    record = box()._replace(table=np.arange(6).reshape(2, 3))  # whole numbers
    out = np.zeros(3)
    filled(Held(record), out)
    assert out.tolist() == [3.5, 0.0, 6.5]


def test_rows_that_do_not_lie_end_to_end_are_refused():
    with pytest.raises(ValueError, match="^table: rows of an array that is held lie end to end$"):
        Held(box()._replace(table=np.arange(6.0).reshape(3, 2).T))


def test_parts_can_be_called_by_functions_compiled_in_the_usual_way():
    """Before and after an entry has taken them in."""
    for _ in range(2):
        out = np.zeros(3)
        njit(lambda box, out: _fill(box, out))(Held(box()), out)
        assert out.tolist() == [3.5, 0.0, 6.5]
        filled(Held(box()), out)
