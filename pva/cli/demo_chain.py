"""`pva demo`: the invented study, from field tables to the page, in one go."""

from __future__ import annotations

import time
from contextlib import contextmanager
from pathlib import Path

import click

from pva.cli.terminal import Terminal, shared_options

MAIN, BLOCKED = "base", "passage-blocked"
INVENTED = ("Everything in this study is invented: the river, the dam, the sites, the animals and "
            "every record.")


@click.command()
@click.argument("folder", default="hesperwell", metavar="[DIR]",
                type=click.Path(file_okay=False, path_type=Path))
@click.option("--open", "open_page", is_flag=True, help="Open the page in the browser.")
@shared_options
def demo(terminal: Terminal, folder: Path, open_page: bool) -> None:
    """Copy the invented demo study to DIR (./hesperwell) and run all of it to report.html.

    A study that was changed is never overwritten.
    """
    from pva.cli.demo_files import copy_demo, remember

    folder, terminal.out = terminal.out or folder, None
    terminal.say(INVENTED)
    steps = Steps(terminal)
    with steps("study copied"):
        copy_demo(folder)
    document = _chain(terminal, steps, folder)
    remember(folder)
    _tell(terminal, document)
    terminal.finish(document)
    if open_page:
        import webbrowser
        webbrowser.open(Path(document["report"]).resolve().as_uri())


def _chain(terminal: Terminal, steps: Steps, folder: Path) -> dict:
    from pva.cli.checking import row_sum
    from pva.cli.decisions import compare_and_write, stock_and_write
    from pva.cli.first_run import announce
    from pva.cli.report_material import scenario_paths
    from pva.cli.runs import run_and_write
    from pva.cli.studies import estimate_and_write, report_and_write
    from pva.field import read_study
    from pva.scenario.scenario import read_scenario

    results = folder / "results"
    with steps("estimates from the field tables"):
        estimates = estimate_and_write(terminal, folder, account=False)
    terminal.say(f"  {row_sum(estimates['rows'])}")
    paths = scenario_paths(read_study(folder))
    main, blocked = (folder / "scenarios" / f"{name}.yaml" for name in (MAIN, BLOCKED))
    questions = {p: read_scenario(p) for p in paths}
    announce(terminal)
    with steps("the plan projected"):
        projected = run_and_write(terminal, questions[main], main, results)
    with steps("the number to stock"):
        stocked = stock_and_write(terminal, questions[main], main, folder=results)
    with steps("the number to stock with fish passage blocked"):
        stuck = stock_and_write(terminal, questions[blocked], blocked, folder=results)
    with steps(f"{len(paths)} scenarios compared in the same luck"):
        compared = compare_and_write(terminal, list(questions.values()), paths[0], results)
    with steps("report"):
        page = report_and_write(terminal, folder)
    return {"study": str(folder), "report": str(page), "invented": True, "seconds": steps.seconds,
            "rows": estimates["rows"], "run": projected, "stock": stocked,
            "stock_blocked": stuck, "compare": compared}


class Steps:
    """Prints every step with the time it took.

    Parameters
    ----------
    terminal : Terminal
    """

    def __init__(self, terminal: Terminal):
        self._terminal = terminal
        self.seconds: dict[str, float] = {}

    @contextmanager
    def __call__(self, words: str):
        start = time.perf_counter()
        yield
        self.seconds[words] = round(time.perf_counter() - start, 2)
        self._terminal.say(f"{words[0].upper()}{words[1:]} ({self.seconds[words]:.1f} s)")


def _tell(terminal: Terminal, document: dict) -> None:
    from pva.cli.stock_words import answer_of_stock

    terminal.say()
    terminal.answer(answer_of_stock(document["stock"]))
    terminal.say("With fish passage blocked: " + answer_of_stock(document["stock_blocked"]))
    terminal.answer(f"Report: {document['report']} (an invented study)")
