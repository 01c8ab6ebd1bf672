"""`pva what-changed`: two estimates files side by side."""

from __future__ import annotations

from pathlib import Path

import click

from pva.cli.terminal import Terminal, shared_options


@click.command("what-changed")
@click.argument("before", type=click.Path(path_type=Path))
@click.argument("after", type=click.Path(path_type=Path))
@shared_options
def what_changed(terminal: Terminal, before: Path, after: Path) -> None:
    """Hold two estimates side by side, such as last year's and this year's.

    BEFORE and AFTER are folders that hold estimates.yaml, or such files. With --out, writes
    what-changed.json into that folder.
    """
    from pva.decide.what_changed import what_changed as hold
    from pva.estimate.estimates_file import read_estimates
    from pva.report.data_words import answer_of_change, change_rows

    summary = hold(*(read_estimates(_file(p)) for p in (before, after))).summary()
    terminal.answer(answer_of_change(summary))
    terminal.table(*change_rows(summary))
    terminal.say("Measured in standard errors of the earlier estimate; the later one knows the "
                 "earlier records too, so this is no test.")
    if terminal.out is not None:
        from pva.results.store import write_json
        terminal.wrote(write_json(terminal.out / "what-changed.json", summary))
    terminal.finish(summary)


def _file(path: Path) -> Path:
    return path / "estimates.yaml" if path.is_dir() else path
