"""Options of long commands: where finished parts are kept, and who does the work."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from pva.cli.terminal import Terminal

KEPT = "kept"  # folder beside the answers

_cluster_option = click.option(
    "--cluster", metavar="WHERE",
    help="Let the workers of a Dask cluster do the work: the address of its scheduler, or local:4 "
         "for four on this machine. The numbers do not depend on it.")
_start_over_option = click.option(
    "--start-over", is_flag=True,
    help="Throw away the finished parts kept in results/kept, and compute all anew.")


def long_options(command: Callable) -> Callable:
    """Options of commands whose finished parts are kept."""
    return _cluster_option(_start_over_option(command))


@contextmanager
def tasks_for(terminal: Terminal, *, cluster: str | None, folder: Path | None = None,
              start_over: bool = False) -> Iterator:
    """How the tasks of a command are done.

    Parameters
    ----------
    folder : Path or None
        Where the answers go, and finished parts beside them; None = parts are not kept.
    """
    from pva.results.tasks import Tasks

    keep = None if folder is None else folder / KEPT
    with Tasks(keep=keep, cluster=cluster) as tasks:
        if start_over and tasks.kept is not None:
            many = tasks.kept.clear()
            terminal.note(f"Thrown away: {many} finished parts in {keep}.")
        terminal.tasks = tasks
        yield tasks
    for line in told(tasks):
        terminal.note(line)


def told(tasks) -> list[str]:
    """What to say of the parts when all is done."""
    lines = []
    if tasks.reused:
        lines.append(f"{tasks.reused} of {tasks.total} parts were finished before and are used "
                     f"again ({tasks.kept.folder}; --start-over computes them anew).")
    if tasks.kept is not None and tasks.kept.damaged:
        lines.append(f"Kept parts that were damaged and computed again: {tasks.kept.damaged}.")
    if tasks.trouble:
        lines.append(f"Warning: finished parts could not be kept. {tasks.trouble}")
    return lines


def known_seed(terminal: Terminal, question) -> int:
    """The seed of this command, drawn now if nobody named one, so that it can go on later."""
    from pva.results.run import seed_of

    seed = seed_of(question.resolved, terminal.seed)
    terminal.drawn_seed = seed if seed not in (terminal.seed, question.resolved.runs.seed) else None
    return seed
