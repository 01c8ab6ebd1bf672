"""Results of one scenario for the page: those on disk where they still fit, else made now."""

from __future__ import annotations

from pathlib import Path

from pva.cli.decisions import compare_and_write, stock_and_write
from pva.cli.estimate_files import read_json
from pva.cli.places import results_folder
from pva.cli.runs import run_and_write
from pva.cli.terminal import Terminal


class Kept:
    """Results of one scenario: on disk if they still fit, else made now.

    Parameters
    ----------
    terminal : Terminal
        With --out, results are looked for there first, and new ones are written there; with --seed,
        or a scenario that names its seed, results of another seed do not fit.
    study : Study
    question : Scenario
    path : Path
        Its file.
    """

    def __init__(self, terminal: Terminal, study, question, path: Path):
        self.question, self._terminal, self._path = question, terminal, path
        self._folder = results_folder(path, terminal.out)
        self._places = list(dict.fromkeys([self._folder, study.results_folder]))
        named = question.resolved.runs.seed
        self._seed = named if terminal.seed is None else terminal.seed

    def fresh_run(self):
        """Data set of a run of this very question, or None."""
        from pva.results.store import read_dataset

        for place in self._places:
            data = _opened(place / f"{self._path.stem}.nc", read_dataset)
            if data is not None and self._fits(data.attrs, self.question.digest):
                return data
        return None

    def _fits(self, found, *digests) -> bool:
        """Whether an answer is to one of these questions, with the seed that holds for the page."""
        return found.get("digest") in digests and self._same_seed(found)

    def _same_seed(self, found) -> bool:
        seed = found.get("seed")
        return self._seed is None or seed is None or int(seed) == self._seed

    def run(self):
        """Data set of a run."""
        found = self.fresh_run()
        if found is None:
            self._say("nc", "running")
            run_and_write(self._terminal, self.question, self._path, self._folder)
            found = self.fresh_run()
        return found

    def fresh_stock(self) -> dict | None:
        """Number to stock for this very question and the chance it wants, or None."""
        wanted = self.question.resolved.chance_wanted
        return self._json("stock.json", lambda found: self._fits(found, self.question.digest)
                          and found.get("chance_wanted") == wanted)

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
        found = self._json("compare.json", lambda found: found.get("digests") == digests
                           and self._same_seed(found))
        if found is not None:
            return found
        self._say("compare.json", "comparing")
        return compare_and_write(self._terminal, questions, self._path, self._folder)

    def sensitivity(self, asked, left_out: dict) -> dict | None:
        """What the chance depends on; found now, with the runs named, only where asked for."""
        from pva.cli.sensing import sensitivity_and_write

        question = _with_runs(self.question, asked)
        return self._answer("sensitivity", "sensitivity.json", asked is not None, left_out,
                            lambda: sensitivity_and_write(self._terminal, question, self._path,
                                                          folder=self._folder), question.digest)

    def data_check(self, asked, study, records, left_out: dict) -> dict | None:
        """The past against the data; projected now only where it is asked for."""
        from pva.cli.data_check import data_check_and_write

        question = _with_runs(self.question, asked)
        return self._answer("check-data", "check-data.json", asked is not None, left_out,
                            lambda: data_check_and_write(
                                self._terminal, question, study, self._path, folder=self._folder,
                                records=records, hold_out=asked.hold_out), question.digest)

    def donor(self, asked, left_out: dict) -> dict | None:
        """What the donor can give; judged now, with the runs named, only where it is asked for."""
        from pva.cli.donating import donor_and_write

        question = _with_runs(self.question, asked)
        return self._answer("donor", "donor.json", asked is not None, left_out,
                            lambda: donor_and_write(self._terminal, question, self._path,
                                                    folder=self._folder), question.digest)

    def check_command(self, asked, study) -> list[str] | None:
        """Arguments that check this past in a process of its own; None where nothing is to do.

        Fewer runs than the scenario's cannot be asked for there.
        """
        if asked.draws or asked.replicates or self._json(
                "check-data.json", lambda f: self._fits(f, self.question.digest)):
            return None
        terminal = self._terminal
        more = {"--hold-out": asked.hold_out, "--seed": terminal.seed,
                "--threads": terminal.threads}
        told = [word for key, value in more.items() if value is not None
                for word in (key, str(value))]
        return ["check-data", str(study.folder), str(self._path), "--out", str(self._folder),
                "--quiet", *told]

    def grid(self, asked, left_out: dict):
        """A map of this question, with the runs that study.yaml names for it; or None."""
        from pva.cli.exploring import explore_and_write
        from pva.results.store import read_dataset

        question = _with_runs(self.question, asked)
        digests, at_hand = {self.question.digest, question.digest}, False
        for place in self._places:
            data = _opened(place / f"{self._path.stem}.explore.nc", read_dataset)
            at_hand = at_hand or data is not None
            if data is not None and self._fits(data.attrs, *digests) and _holds(data, asked):
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
        found = self._json("targets.json", lambda f: self._fits(f, digest))
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
        found = self._json(ending, lambda f: self._fits(f, *digests))
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


def _holds(data, asked) -> bool:
    """Whether a grid holds every value that study.yaml asks for; a finer one does."""
    from pva.decide.grid import Axis

    if asked is None:
        return True
    axes = [Axis(key, tuple(values), ()) for key, values in asked.vary.items()]
    return all(axis.name in data.dims and set(axis.labels) <= set(data[axis.name].values.tolist())
               for axis in axes)


def _with_runs(question, asked):
    """The question with the draws and replicates that study.yaml names for it."""
    if asked is None:
        return question
    runs = {f"runs.{k}": v for k in ("draws", "replicates")
            if (v := getattr(asked, k)) is not None}
    return question.with_changes(runs) if runs else question
