"""What a report is made from: kept results that still fit their question, the rest computed."""

from __future__ import annotations

from pathlib import Path

from pva.cli.decisions import compare_and_write, read_all, stock_and_write
from pva.cli.estimate_files import SUMMARY, read_json, read_pictures
from pva.cli.first_run import announce
from pva.cli.places import results_folder
from pva.cli.runs import run_and_write
from pva.cli.terminal import Terminal


def collect(terminal: Terminal, study) -> dict:
    """Arguments of `pva.report.write_report` for a study.

    Results are read where they were made for the same question (same digest). Those of the main
    scenario, and the comparison, are made now where they are missing or out of date.
    """
    from pva.field import read_records
    from pva.scenario.scenario import read_scenario

    paths = scenario_paths(study)
    questions = read_all(paths, read_scenario)
    announce(terminal)
    kept = [Kept(terminal, study, q, p) for q, p in zip(questions, paths, strict=True)]
    runs = [(k.question, k.run()) for k in kept[:1]]
    runs += [(k.question, data) for k in kept[1:] if (data := k.fresh_run()) is not None]
    stocked = [(k.question, answer) for i, k in enumerate(kept)
               if (answer := k.stock() if i == 0 else k.fresh_stock()) is not None]
    return {"study": study, "records": read_records(study),
            "estimates": read_json(study.estimates_folder / SUMMARY),
            "pictures": read_pictures(study.estimates_folder), "runs": runs, "stock": stocked,
            "comparison": kept[0].comparison(questions) if len(kept) > 1 else None,
            "commands": _commands(study)}


def scenario_paths(study) -> list[Path]:
    """The main scenario of a study and those compared with it."""
    named = study.spec.report
    main = named.main
    if main is None and study.place("scenarios/base.yaml").is_file():
        main = "scenarios/base.yaml"
    return [study.place(name) for name in ([main] if main else []) + list(named.compare)]


class Kept:
    """Results of one scenario: on disk if they still fit, else made now.

    Parameters
    ----------
    terminal : Terminal
        With --out, results are looked for there first, and new ones are written there.
    study : Study
    question : Scenario
    path : Path
        Its file.
    """

    def __init__(self, terminal: Terminal, study, question, path: Path):
        self.question, self._terminal, self._path = question, terminal, path
        self._folder = results_folder(path, terminal.out)
        self._places = list(dict.fromkeys([self._folder, study.results_folder]))

    def fresh_run(self):
        """Data set of a run of this very question, or None."""
        from pva.results.store import read_dataset

        for place in self._places:
            data = _opened(place / f"{self._path.stem}.nc", read_dataset)
            if data is not None and data.attrs.get("digest") == self.question.digest:
                return data
        return None

    def run(self):
        """Data set of a run."""
        found = self.fresh_run()
        if found is None:
            self._say("nc", "running")
            run_and_write(self._terminal, self.question, self._path, self._folder)
            found = self.fresh_run()
        return found

    def fresh_stock(self) -> dict | None:
        """Number to stock for this very question, or None."""
        return self._json("stock.json", lambda found: found.get("digest") == self.question.digest)

    def stock(self) -> dict | None:
        """Number to stock; None where the scenario asks for none."""
        found, resolved = self.fresh_stock(), self.question.resolved
        if found is not None or not resolved.goals or not resolved.releases:
            return found
        self._say("stock.json", "searching")
        return stock_and_write(self._terminal, self.question, self._path, folder=self._folder)

    def comparison(self, questions: list) -> dict:
        """All questions against this one, the first."""
        digests = [q.digest for q in questions]
        found = self._json("compare.json", lambda found: found.get("digests") == digests)
        if found is not None:
            return found
        self._say("compare.json", "comparing")
        return compare_and_write(self._terminal, questions, self._path, self._folder)

    def _json(self, ending, fits):
        found = (read_json(place / f"{self._path.stem}.{ending}") for place in self._places)
        return next((f for f in found if f is not None and fits(f)), None)

    def _say(self, ending, doing):
        self._terminal.note(f"{self._path.stem}.{ending} is missing or out of date: {doing}")


def _opened(file, read):
    """A file's content, or None where it is missing or cannot be read."""
    try:
        return read(file) if file.is_file() else None
    except (OSError, ValueError):
        return None


def _commands(study) -> tuple[str, ...]:
    name = study.folder.resolve().name
    main = scenario_paths(study)[:1]
    chain = [f"pva {word} {name}/{p.relative_to(study.folder).as_posix()}"
             for p in main for word in ("run", "stock")]
    return (f"pva estimate {name}", *chain, f"pva report {name}")
