"""Field records to numbers with their uncertainty; see `estimate` and `read_estimates`."""

from importlib import import_module

_WHERE = {
    "Estimate": "estimates",
    "Estimates": "estimates",
    "read_estimates": "estimates_file",
    "write_estimates": "estimates_write",
    "estimate": "run",
}
__all__ = list(_WHERE)


def __getattr__(name: str):
    # compiled likelihoods load only when something is estimated
    if name in _WHERE:
        return getattr(import_module(f"pva.estimate.{_WHERE[name]}"), name)
    raise AttributeError(f"module 'pva.estimate' has no attribute {name!r}")
