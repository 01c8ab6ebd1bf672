"""One self-contained page that a director and a sceptical reviewer can both use."""

from importlib import import_module

_WHERE = {"write_report": "page", "render_report": "page"}
__all__ = list(_WHERE)


def __getattr__(name: str):
    # templates and figures load only when a page is asked for
    if name in _WHERE:
        return getattr(import_module(f"pva.report.{_WHERE[name]}"), name)
    raise AttributeError(f"module 'pva.report' has no attribute {name!r}")
