"""Field records to numbers with their uncertainty; see `estimate` and `read_estimates`."""

import sys
from importlib import import_module
from types import ModuleType

_WHERE = {
    "Estimate": "estimates",
    "Estimates": "estimates",
    "StudyEstimates": "run",
    "read_estimates": "estimates_file",
    "write_estimates": "estimates_write",
    "estimate": "run",
    "estimate_records": "run",
}
__all__ = list(_WHERE)


def __getattr__(name: str):
    # compiled likelihoods load only when something is estimated
    if name in _WHERE:
        return getattr(import_module(f"pva.estimate.{_WHERE[name]}"), name)
    raise AttributeError(f"module 'pva.estimate' has no attribute {name!r}")


class _Callable(ModuleType):
    """`pva.estimate` is this folder and, for users, the function that estimates a study."""

    def __call__(self, *arguments, **named):
        return __getattr__("estimate")(*arguments, **named)


sys.modules[__name__].__class__ = _Callable
