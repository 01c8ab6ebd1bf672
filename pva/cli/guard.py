"""Whatever goes wrong ends in a sentence and an exit code, never in a traceback.

Exit codes: 0 done, 1 refused input or not computable, 2 wrong usage, 130 stopped by Ctrl-C.
"""

from __future__ import annotations

import atexit
import gc
import os
import shlex
import sys
import traceback

import click

from pva.errors import Problem, PvaError

REFUSED, STOPPED = 1, 130
OBJECTS_PER_SEARCH = 10_000  # Python's own is 700, or 2,000


class GuardedGroup(click.Group):
    """A group of commands that lists them as added and turns errors into words."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)

    def main(self, *args, **kwargs):
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")  # a name the terminal cannot show is no error
        # a fifth of a short command was Python looking for waste among modules that live to the end
        gc.set_threshold(OBJECTS_PER_SEARCH)
        atexit.register(gc.freeze)
        return super().main(*args, **kwargs)

    def make_context(self, info_name, args, parent=None, **extra) -> click.Context:
        typed = list(args)
        ctx = super().make_context(info_name, args, parent, **extra)
        ctx.meta["pva.typed"] = typed
        return ctx

    def invoke(self, ctx: click.Context):
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except PvaError as error:
            _refuse(ctx, error)
        except MemoryError:
            _refuse(ctx, PvaError(Problem(
                "the memory of this machine is full", "Close other programs, or lower `draws`, "
                "`replicates` or the number of sites.", done="Files written earlier are unchanged.",
                code="memory-full")))
        except KeyboardInterrupt:
            _stopped(ctx)
        except Exception as error:
            if _while_stopping(error):
                _stopped(ctx)
            _unexpected(ctx, error)


def _refuse(ctx, error: PvaError) -> None:
    for problem in error.problems:
        click.echo(str(problem), err=True)
    if _json_asked(ctx):
        from pva.cli.terminal import json_text
        click.echo(json_text({"problems": [problem_as_dict(p) for p in error.problems]}))
    ctx.exit(REFUSED)


def problem_as_dict(problem: Problem) -> dict:
    """A problem as plain data."""
    return {"what": problem.what, "why": problem.why, "done": problem.done, "todo": problem.todo,
            "file": problem.file, "line": problem.line, "column": problem.column,
            "code": problem.code}


def _while_stopping(error: BaseException | None) -> bool:
    """Whether a Ctrl-C was on its way out, and what was open, such as a file, did not close."""
    while error is not None and not isinstance(error, KeyboardInterrupt):
        error = error.__context__
    return error is not None


def _stopped(ctx) -> None:
    terminal = ctx.meta.get("pva.terminal")
    kept = terminal.files if terminal else []
    if terminal and _parts_kept(terminal.tasks):
        tasks = terminal.tasks
        # a search asks for one part at a time, and nobody knows for how many it will
        of_all = f" of {tasks.total}" if tasks.total > tasks.finished + 1 else ""
        said = (f"Stopped. Finished parts are kept in {tasks.kept.folder}: {tasks.finished}"
                f"{of_all}.\nTo go on from there, type the same again: {_typed(ctx)}")
    elif kept:
        from pva.cli.terminal import listed
        said = f"Stopped. Finished and kept: {', '.join(listed(kept))}."
    else:
        said = "Stopped before anything was finished. Files written earlier are unchanged."
    click.echo("\n" + said, err=True)
    ctx.exit(STOPPED)


def _parts_kept(tasks) -> bool:
    return tasks is not None and tasks.kept is not None and not tasks.trouble and tasks.finished > 0


def _typed(ctx) -> str:
    """The command as it was typed; a seed that was drawn is said, or other luck would be met."""
    terminal = ctx.meta["pva.terminal"]
    words = [w for w in ctx.meta.get("pva.typed", []) if w != "--start-over"]
    if terminal.drawn_seed is not None:
        words += ["--seed", str(terminal.drawn_seed)]
    return shlex.join(["pva", *words])


def _unexpected(ctx, error: Exception) -> None:
    from importlib.metadata import version

    if os.environ.get("PVA_TRACEBACK") == "1":
        traceback.print_exc()
    text = " ".join(f"{type(error).__name__}: {error}".split())
    click.echo(f"This should not have happened ({text}); please report it with the version "
               f"(pva {version('pva')}) and the command ({_command(ctx)}), and set "
               "PVA_TRACEBACK=1 to see where it arose.", err=True)
    ctx.exit(REFUSED)


def _command(ctx) -> str:
    terminal = ctx.meta.get("pva.terminal")
    return terminal.command if terminal else f"pva {ctx.invoked_subcommand or ''}".strip()


def _json_asked(ctx) -> bool:
    terminal = ctx.meta.get("pva.terminal")
    return bool(terminal and terminal.json)
