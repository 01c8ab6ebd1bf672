"""What a report is made from: kept results that still fit their question, the rest computed."""

from __future__ import annotations

from pathlib import Path

from pva.cli.decisions import read_all
from pva.cli.estimate_files import SUMMARY, read_json, read_pictures
from pva.cli.first_run import announce
from pva.cli.report_kept import Kept
from pva.cli.second_process import meanwhile
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
    records = read_records(study)
    kept = [Kept(terminal, study, q, p) for q, p in zip(questions, paths, strict=True)]
    runs = [(k.question, k.run()) for k in kept[:1]]
    runs += [(k.question, data) for k in kept[1:] if (data := k.fresh_run()) is not None]
    stocked = [(k.question, answer) for i, k in enumerate(kept)
               if (answer := k.stock() if i == 0 else k.fresh_stock()) is not None]
    more = _answers(terminal, study, records, kept) if kept else {}
    return {"study": study, "records": records,
            "estimates": read_json(study.estimates_folder / SUMMARY),
            "pictures": read_pictures(study.estimates_folder), "runs": runs, "stock": stocked,
            "comparison": kept[0].comparison(questions) if len(kept) > 1 else None,
            "commands": (_command(study, runs),), **more}


def _answers(terminal, study, records, kept) -> dict:
    """Answers of commands of their own; why one that is at hand is left out."""
    named, main = study.spec.report, kept[0]
    left_out: dict[str, str] = {}
    past = _past_of(terminal, study)
    with meanwhile(past and past.check_command(named.check_data, study)) as checking:
        found = {"sensitivity": main.sensitivity(named.sensitivity, left_out),
                 "grid": main.grid(named.map, left_out), "targets": main.targets(), "donor": None}
        taking = [*_donor_of(terminal, study, named.donor), *kept]
        for one in taking:
            if found["donor"] is None:
                found["donor"] = one.donor(named.donor if one is taking[0] else None, left_out)
        if found["donor"] is not None:
            left_out.pop("donor", None)
        if checking is not None:
            checking.wait()
    check = past.data_check(named.check_data, study, records, left_out) if past else \
        _kept_check(terminal, study, records, left_out)
    return found | {"left_out": left_out, "data_check": check}


def _past_of(terminal, study) -> Kept | None:
    """The scenario of the past that study.yaml names."""
    from pva.scenario.scenario import read_scenario

    asked = study.spec.report.check_data
    if asked is None:
        return None
    path = study.place(asked.scenario)
    return Kept(terminal, study, read_scenario(path), path)


def _kept_check(terminal, study, records, left_out) -> dict | None:
    """A finished check against the data that still fits, where study.yaml asks for none."""
    from pva.errors import PvaError
    from pva.scenario.scenario import read_scenario

    ending = ".check-data.json"
    for folder in dict.fromkeys(f for f in (terminal.out, study.results_folder) if f):
        for file in sorted(folder.glob(f"*{ending}")):
            path = study.place(f"scenarios/{file.name.removesuffix(ending)}.yaml")
            try:
                question = read_scenario(path)
                found = Kept(terminal, study, question, path).data_check(None, study, records,
                                                                         left_out)
                if found is not None:
                    return found
            except (PvaError, OSError):
                left_out["check-data"] = (
                    f"An answer of `pva check-data` is at hand ({file.name}), but its scenario is "
                    "missing or cannot be read, so it is left out. This command makes it anew:")
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
    from pva.report.sections.commands import study_folder

    named = ""
    for question, data in runs[:1]:
        seed = int(data.attrs["seed"])
        named = "" if question.resolved.runs.seed == seed else f" --seed {seed}"
    return f"pva report {study_folder(study)}{named}"


def scenario_paths(study) -> list[Path]:
    """The main scenario of a study and those compared with it."""
    named = study.spec.report
    main = named.main
    if main is None and study.place("scenarios/base.yaml").is_file():
        main = "scenarios/base.yaml"
    return [study.place(name) for name in ([main] if main else []) + list(named.compare)]
