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
    more = _answers(terminal, study, kept) if kept else {}
    return {"study": study, "records": read_records(study),
            "estimates": read_json(study.estimates_folder / SUMMARY),
            "pictures": read_pictures(study.estimates_folder), "runs": runs, "stock": stocked,
            "comparison": kept[0].comparison(questions) if len(kept) > 1 else None,
            "commands": (_command(study, runs),), **more}


def _answers(terminal, study, kept) -> dict:
    """Answers of commands of their own; why one that is at hand is left out."""
    named, main = study.spec.report, kept[0]
    left_out: dict[str, str] = {}
    found = {"sensitivity": main.sensitivity(named.sensitivity, left_out),
             "grid": main.grid(named.map, left_out), "targets": main.targets(), "donor": None}
    taking = [*_donor_of(terminal, study, named.donor), *kept]
    for one in taking:
        if found["donor"] is None:
            found["donor"] = one.donor(named.donor if one is taking[0] else None, left_out)
    if found["donor"] is not None:
        left_out.pop("donor", None)
    return found | {"left_out": left_out, "data_check": _data_check(terminal, study, left_out)}


def _data_check(terminal, study, left_out) -> dict | None:
    """A finished check against the data, where its scenario is still what it was."""
    from pva.errors import PvaError
    from pva.scenario.scenario import read_scenario

    ending = ".check-data.json"
    for folder in dict.fromkeys(f for f in (terminal.out, study.results_folder) if f):
        for file in sorted(folder.glob(f"*{ending}")):
            path = study.place(f"scenarios/{file.name.removesuffix(ending)}.yaml")
            found = read_json(file)
            try:
                if found and read_scenario(path).digest == found.get("digest"):
                    return found
            except (PvaError, OSError):
                pass
            left_out["check-data"] = (
                f"An answer of `pva check-data` is at hand ({file.name}), but its scenario is "
                "missing or was changed since, so it is left out. This command makes it anew:")
    return None


def _donor_of(terminal, study, asked):
    """The scenario that study.yaml names for the donor, or scenarios/donor.yaml if it is there."""
    from pva.scenario.scenario import read_scenario

    path = study.place(asked.scenario if asked else "scenarios/donor.yaml")
    answers = [f / f"{path.stem}.donor.json" for f in (terminal.out, study.results_folder) if f]
    if asked is None and not (path.is_file() and any(a.is_file() for a in answers)):
        return []
    return [Kept(terminal, study, read_scenario(path), path)]


def _command(study, runs) -> str:
    """The one command that makes the page again; a seed that the scenario does not name is said."""
    named = ""
    for question, data in runs[:1]:
        seed = int(data.attrs["seed"])
        named = "" if question.resolved.runs.seed == seed else f" --seed {seed}"
    return f"pva report {study.folder.resolve().name}{named}"


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

    def sensitivity(self, asked: bool, left_out: dict) -> dict | None:
        """What the chance depends on; found now only where it is asked for."""
        from pva.cli.sensing import sensitivity_and_write

        return self._answer("sensitivity", "sensitivity.json", asked, left_out,
                            lambda: sensitivity_and_write(self._terminal, self.question,
                                                          self._path, folder=self._folder))

    def donor(self, asked, left_out: dict) -> dict | None:
        """What the donor can give; judged now, with the runs named, only where it is asked for."""
        from pva.cli.donating import donor_and_write

        question = _with_runs(self.question, asked)
        return self._answer("donor", "donor.json", asked is not None, left_out,
                            lambda: donor_and_write(self._terminal, question, self._path,
                                                    folder=self._folder), question.digest)

    def grid(self, asked, left_out: dict):
        """A map of this question, with the runs that study.yaml names for it; or None."""
        from pva.cli.exploring import explore_and_write
        from pva.results.store import read_dataset

        question = _with_runs(self.question, asked)
        digests = {self.question.digest, question.digest}
        at_hand = False
        for place in self._places:
            data = _opened(place / f"{self._path.stem}.explore.nc", read_dataset)
            at_hand = at_hand or data is not None
            if data is not None and data.attrs.get("digest") in digests:
                return data
        if asked is not None:
            self._say("explore.nc", "exploring")
            explore_and_write(self._terminal, question, self._path, dict(asked.vary),
                              folder=self._folder)
            return read_dataset(self._folder / f"{self._path.stem}.explore.nc")
        if at_hand:
            left_out["explore"] = self._stale("explore")
        return None

    def targets(self) -> dict | None:
        """Curves for other targets; None where the scenario has no number to stock."""
        from pva.decide.targets import target_curves
        from pva.results.store import write_json

        stocked, digest = self.fresh_stock(), self.question.digest
        if stocked is None:
            return None
        found = self._json("targets.json", lambda f: f.get("digest") == digest)
        if found is None:
            self._say("targets.json", "moving the target")
            found = target_curves(self.question, stocked["curve"]["number"],
                                  seed=self._terminal.seed,
                                  threads=self._terminal.threads).summary()
            self._terminal.wrote(write_json(
                self._folder / f"{self._path.stem}.targets.json", found))
        return found

    def _answer(self, kind, ending, asked, left_out, make, *digests):
        digests = (self.question.digest, *digests)
        found = self._json(ending, lambda f: f.get("digest") in digests)
        if found is None and asked:
            self._say(ending, "finding it")
            found = make()
        if found is None and self._json(ending, lambda f: True) is not None:
            left_out[kind] = self._stale(kind)
        return found

    def _stale(self, kind):
        return (f"An answer of `pva {kind}` is at hand, but it was made before {self._path.name} "
                "or what it rests on was changed, so it is left out. This command makes it anew:")

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


def _with_runs(question, asked):
    """The question with the draws and replicates that study.yaml names for it."""
    if asked is None:
        return question
    runs = {f"runs.{k}": v for k in ("draws", "replicates")
            if (v := getattr(asked, k)) is not None}
    return question.with_changes(runs) if runs else question
