"""Completion in a shell: commands, options, and the scenarios and studies nearby."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import click
from click.shell_completion import CompletionItem

from pva.cli.terminal import Terminal, shared_options

SHELLS = ("bash", "zsh", "fish")
VARIABLE = "_PVA_COMPLETE"
_DEEPEST, _MOST = 3, 200
_NO_QUESTIONS = {"estimates", "results", "schema", "field", "made_by", "node_modules"}
_SCENARIOS = ("scenario", "scenarios", "before", "after")


class NearbyPath(click.Path):
    """A path that completes to the scenarios, or to the studies, below the folder typed so far."""

    def __init__(self, plain: click.Path, what: str):
        super().__init__(exists=plain.exists, file_okay=plain.file_okay, dir_okay=plain.dir_okay,
                         path_type=plain.type)
        self.what = what

    def shell_complete(self, ctx, param, incomplete: str) -> list[CompletionItem]:
        found = [CompletionItem(name) for name in nearby(incomplete, self.what)]
        return found or [CompletionItem(incomplete, type="file")]


def nearby(typed: str, what: str) -> list[str]:
    """Files or folders that begin with what was typed.

    Parameters
    ----------
    typed : str
        Begin of a path.
    what : {'scenario', 'study'}
        Scenario files, or folders that hold study.yaml.
    """
    folder = os.path.dirname(typed)
    found = []
    for path in _walk(Path(folder or "."), _DEEPEST):
        fits = path.is_file() and path.suffix in (".yaml", ".yml") and path.name != "study.yaml" \
            if what == "scenario" else (path / "study.yaml").is_file()
        name = os.path.join(folder, os.path.relpath(path, folder or "."))
        if fits and name.startswith(typed):
            found.append(name)
        if len(found) == _MOST:
            break
    return sorted(found)


def _walk(folder: Path, deepest: int) -> Iterator[Path]:
    try:
        inside = sorted(folder.iterdir())
    except OSError:
        return
    for path in inside:
        if path.name.startswith("."):
            continue
        yield path
        if deepest > 1 and path.is_dir() and path.name not in _NO_QUESTIONS:
            yield from _walk(path, deepest - 1)


def completes_paths(command: click.Command) -> click.Command:
    """Let the arguments of a command complete to what they stand for."""
    for param in command.params:
        if isinstance(param, click.Argument) and type(param.type) is click.Path:
            what = {"study": "study", **dict.fromkeys(_SCENARIOS, "scenario")}.get(param.name)
            if what is not None:
                param.type = NearbyPath(param.type, what)
    return command


@click.command()
@click.argument("shell", type=click.Choice(SHELLS))
@shared_options
@click.pass_context
def completion(ctx: click.Context, terminal: Terminal, shell: str) -> None:
    """Print a script by which SHELL completes commands, options, scenarios and studies.

    bash: put it into a file and read that in ~/.bashrc; zsh: the same in ~/.zshrc, after compinit;
    fish: into ~/.config/fish/completions/pva.fish. With --out, writes pva.SHELL there.
    """
    from click.shell_completion import get_completion_class

    script = get_completion_class(shell)(ctx.find_root().command, {}, "pva", VARIABLE).source()
    if terminal.out is not None:
        from pva.files import write_text_atomic

        terminal.wrote(write_text_atomic(terminal.out / f"pva.{shell}", script))
    terminal.answer(script)
    terminal.finish({"shell": shell, "script": script})
