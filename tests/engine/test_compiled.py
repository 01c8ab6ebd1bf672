"""The engine where nothing can be kept on disk."""

import subprocess
import sys

RUN = """
from numba.core import caching
for kind in (caching.IndexDataCacheFile, caching.CacheImpl, caching.CompileResultCacheImpl):
    if hasattr(kind, "_locator_classes"):
        kind._locator_classes = []
from numba import njit
try:
    njit(cache=True)(lambda: 0)
except RuntimeError:
    print("nothing can be kept")
from pva.engine import kernel
print(type(kernel.simulate_block).__name__)
print(kernel.simulate_block.stats.cache_path)
"""


def test_an_install_that_cannot_be_written_still_loads_the_engine():
    done = subprocess.run([sys.executable, "-c", RUN], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.split("\n")[:3] == ["nothing can be kept", "CPUDispatcher", "None"]
