"""Tables and progress bars in a terminal or a pipe."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click
from rich import box
from rich.console import Console
from rich.table import Table

WIDTH = 100
MOST_WHOLE = 40  # a first column up to this width is never broken


def _console(stream) -> Console:
    width = None if stream.isatty() else WIDTH
    return Console(file=stream, width=width, markup=False, highlight=False, emoji=False)


def print_table(header: list[str], rows: list[list], *, title: str = "") -> None:
    """Print a table to standard output; None prints as nothing."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    numeric = [all(_is_number(row[i]) for row in rows) for i in range(len(header))]
    for i, name in enumerate(header):
        whole = i == 0 and max(len(str(row[0])) for row in rows) <= MOST_WHOLE
        table.add_column(name, justify="right" if numeric[i] else "left", overflow="fold",
                         no_wrap=whole)
    for row in rows:
        table.add_row(*("" if cell is None else str(cell) for cell in row))
    console = _console(sys.stdout)
    with console.capture() as captured:
        console.print(table)
    lines = [line.rstrip() for line in captured.get().splitlines()]
    click.echo("\n".join(["", title, *lines] if title else ["", *lines]))


def _is_number(cell) -> bool:
    return cell is None or not isinstance(cell, str) or cell[:1].isdigit() or cell[:1] in "-+"


@contextmanager
def progress_bar(words: str) -> Iterator[Callable[[int, int], None]]:
    """A bar on standard error with the time left; yields a function of done and total."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(),
               TextColumn("{task.percentage:3.0f} %"), TimeRemainingColumn())
    with Progress(*columns, console=_console(sys.stderr), transient=True) as bar:
        task = bar.add_task(words, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
