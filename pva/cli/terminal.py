"""What every command shares: its options, what it says and where, and the files it wrote."""

from __future__ import annotations

import functools
import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import click

MOST_LISTED = 6
_MOST_SEED = 2**64 - 1


@dataclass
class Terminal:
    """One command being carried out.

    Parameters
    ----------
    command : str
        Name and arguments, for messages.
    out : Path or None
        Folder asked for with --out.
    json, quiet : bool
    seed, threads : int or None
    files : list of Path
        Files written so far.
    tasks : Tasks or None
        Parts of a long computation, finished and to come.
    drawn_seed : int or None
        Seed that nobody named: needed to go on after a stop.
    """

    command: str
    out: Path | None = None
    json: bool = False
    quiet: bool = False
    seed: int | None = None
    threads: int | None = None
    files: list[Path] = field(default_factory=list)
    tasks: Any = None
    drawn_seed: int | None = None

    def answer(self, text: str) -> None:
        """The answer itself: always printed, unless JSON is."""
        if not self.json:
            click.echo(text)

    def answer_with_seed(self, text: str, question, summary: dict) -> None:
        """An answer from random numbers; before it their seed, if nobody named one."""
        if self.seed is None and question.resolved.runs.seed is None:
            self.note(f"Seed drawn: {summary['seed']}. Give --seed {summary['seed']} for the same "
                      "numbers.")
        self.answer(text)

    def say(self, text: str = "") -> None:
        """More words about the answer."""
        if not self.json and not self.quiet:
            click.echo(text)

    def note(self, text: str) -> None:
        """A remark beside the answer, to standard error."""
        if not self.quiet:
            click.echo(text, err=True)

    def warnings(self, texts: list[str]) -> None:
        """Warnings of a scenario or a result; a long list is cut, JSON holds all."""
        for text in texts[:MOST_LISTED]:
            self.note(f"Warning: {text}")
        if len(texts) > MOST_LISTED:
            self.note(f"Warning: and {len(texts) - MOST_LISTED} more; --json lists all.")

    def table(self, header: list[str], rows: list[list], *, title: str = "") -> None:
        """A small table; the first column to the left, the others to the right."""
        if not self.json and not self.quiet and rows:
            from pva.cli.printing import print_table
            print_table(header, rows, title=title)

    def wrote(self, *paths: Path) -> None:
        """Remember files that are complete."""
        self.files += paths

    def finish(self, document: dict) -> None:
        """List the files written, and print the JSON object if it was asked for."""
        for line in listed(self.files):
            self.note(f"Written: {line}")
        if self.json:
            click.echo(json_text(document))

    @contextmanager
    def progress(self, words: str) -> Iterator[Callable[[int, int], None]]:
        """A bar with the time left on a terminal, nothing elsewhere."""
        if self.quiet or not sys.stderr.isatty():
            yield lambda done, total: None
            return
        from pva.cli.printing import progress_bar
        with progress_bar(words) as tell:
            yield tell


def listed(files: list[Path]) -> list[str]:
    """Files as people list them: one by one, or the first of a folder and how many more."""
    files = list(dict.fromkeys(files))
    if len(files) <= MOST_LISTED:
        return [str(f) for f in files]
    folders: dict[Path, list[Path]] = {}
    for file in files:
        folders.setdefault(file.parent, []).append(file)
    return [str(inside[0]) + (f" and {len(inside) - 1} more beside it" if len(inside) > 1 else "")
            for inside in folders.values()]


def json_text(document: dict) -> str:
    """One JSON object; NaN is refused rather than written."""
    return json.dumps(document, indent=1, allow_nan=False)


_OPTIONS = (
    click.option("--out", type=click.Path(file_okay=False, path_type=Path), metavar="DIR",
                 help="Write files into this folder."),
    click.option("--json", "as_json", is_flag=True,
                 help="Print one JSON object; all else goes to standard error."),
    click.option("--seed", type=click.IntRange(0, _MOST_SEED), metavar="NUMBER",
                 help="Seed of the random numbers, in place of the scenario's."),
    click.option("--threads", type=click.IntRange(min=1), metavar="NUMBER",
                 help="Cores to use (default: all). The numbers do not depend on it."),
    click.option("--quiet", is_flag=True, help="Print the answer only."),
)


def shared_options(command: Callable) -> Callable:
    """Give a command the options that all commands have; it gets a `Terminal` first."""

    @functools.wraps(command)
    @click.pass_context
    def with_terminal(ctx, out, as_json, seed, threads, quiet, **arguments):
        said = " ".join(["pva", *ctx.command_path.split()[1:], *_arguments(ctx)])
        terminal = Terminal(said, out, as_json, quiet, seed, threads)
        ctx.meta["pva.terminal"] = terminal
        return command(terminal, **arguments)

    for option in reversed(_OPTIONS):
        with_terminal = option(with_terminal)
    return with_terminal


def _arguments(ctx: click.Context) -> list[str]:
    """The arguments (not the options) as given."""
    values = [ctx.params[p.name] for p in ctx.command.params if isinstance(p, click.Argument)]
    return [str(one) for v in values for one in (v if isinstance(v, tuple) else (v,))]
