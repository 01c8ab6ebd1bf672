"""`pva check`: every problem of scenarios and studies, with file and line; nothing is changed."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import click

from pva.cli.guard import REFUSED, problem_as_dict
from pva.cli.terminal import Terminal, shared_options
from pva.errors import PvaError

MOST_LINES, MOST_EXAMPLES, MOST_RUNS = 200, 3, 8
FOLLOWS = {  # rows set aside only because another row was
    "tag-of-a-release-set-aside": "These tags, too, were released in rows that were set aside. "
    "Correct the releases and read again.",
    "visit-set-aside": "These visits, too, are listed in rows that were set aside. Correct the "
    "visits and read again.",
}
_STUDY, _SCENARIO, _ESTIMATES = "study", "scenario", "estimates"


@click.command()
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path),
                metavar="PATH...")
@click.option("--against", type=click.Path(exists=True, path_type=Path), metavar="OTHER",
              help="Compare the study's tables, cell by cell, with those a second person typed: a "
                   "folder or one table.")
@shared_options
@click.pass_context
def check(ctx: click.Context, terminal: Terminal, paths: tuple[Path, ...],
          against: Path | None) -> None:
    """Read studies and scenarios and list every problem; change nothing.

    PATH is a scenario, a study, or a folder: a study with all its scenarios, or every YAML file in
    it. With --out, writes check.json there. With --against, PATH is one study, and the exit code
    is 1 when the two entries differ.
    """
    if against is not None:
        if len(paths) != 1:
            raise click.UsageError("--against compares one study with its second entry.")
        from pva.cli.second_entry import compare_with
        if compare_with(terminal, paths[0], against):
            ctx.exit(REFUSED)
        return
    found = [examined(kind, path) for kind, path in everything(paths)]
    found = [waiting(entry) if Path(entry["path"]) not in paths else entry for entry in found]
    said: set[str] = set()
    for entry in found:
        _tell(terminal, entry, said)
    document = {"checked": [_as_plain(entry) for entry in found], "problems": len(said)}
    if terminal.out is not None:
        from pva.cli.terminal import json_text
        from pva.files import write_text_atomic
        terminal.wrote(write_text_atomic(terminal.out / "check.json", json_text(document) + "\n"))
    terminal.answer(_verdict(found, len(said)))
    terminal.finish(document)
    if said:
        ctx.exit(REFUSED)


def _verdict(found: list[dict], problems: int) -> str:
    def number(n, word):
        return f"{n:,} {word}" + ("" if n == 1 else "s")

    files = number(len(found), "file")
    if problems:
        return f"{number(problems, 'problem')} in {files}; nothing was changed."
    aside, flagged = (sum(entry["rows"][effect] for entry in found if entry["rows"])
                      for effect in ("set_aside", "flagged"))
    if not aside + flagged:
        return f"No problem in {files}."
    return (f"{'Everything' if len(found) == 1 else 'All'} can be read: {files}; "
            f"{number(aside, 'row')} set aside, {flagged:,} flagged. Nothing was changed.")


def everything(paths) -> list[tuple[str, Path]]:
    """What the paths mean: (kind, file), each file once."""
    found = [item for path in paths for item in _meant(path)]
    return list(dict.fromkeys(found))


def _meant(path: Path) -> list[tuple[str, Path]]:
    if not path.is_dir():
        return [(kind_of(path), path)]
    study = path / "study.yaml"
    if study.is_file():
        files = [study, *_yaml_files(path / "scenarios")]
        return [(kind_of(f), f) for f in files]
    files = _yaml_files(path)
    if not files:
        return [(_STUDY, study)]  # says that there is no such file
    return [(kind_of(f), f) for f in files]


def _yaml_files(folder: Path) -> list[Path]:
    return sorted(f for ending in ("*.yaml", "*.yml") for f in folder.glob(ending))


def kind_of(path: Path) -> str:
    """Whether a file is a study, estimates or a scenario, by its name and top keys."""
    if path.name == "study.yaml":
        return _STUDY
    try:
        keys = _top_keys(path)
    except OSError:
        return _SCENARIO
    if {"tables", "sites"} <= keys and "years" not in keys:
        return _STUDY
    return _ESTIMATES if any("/" in key for key in keys) else _SCENARIO


def _top_keys(path: Path) -> set[str]:
    with path.open(encoding="utf-8", errors="replace") as handle:
        return {line.split(":")[0].strip("'\" ") for line in handle
                if line[:1] not in (" ", "#", "-", "\t", "\n") and ":" in line}


def examined(kind: str, path: Path) -> dict:
    """Problems, warnings and row account of one file."""
    entry = {"path": str(path), "kind": kind, "problems": [], "warnings": [], "rows": None}
    try:
        entry.update({_STUDY: _study, _SCENARIO: _scenario, _ESTIMATES: _estimates}[kind](path))
    except PvaError as error:
        entry["problems"] = error.problems
    return entry


def waiting(entry: dict) -> dict:
    """A scenario found in a study that was never estimated: that is no mistake, only too early."""
    early = [p for p in entry["problems"] if p.code == "estimates-missing"]
    if not early or len(early) < len(entry["problems"]):
        return entry
    said = "read in form only; the rest is checked after `pva estimate`"
    return entry | {"problems": [], "warnings": [said]}


def _scenario(path: Path) -> dict:
    from pva.scenario.scenario import read_scenario

    return {"warnings": list(read_scenario(path).warnings)}


def _estimates(path: Path) -> dict:
    from pva.estimate import read_estimates

    return {"warnings": list(read_estimates(path).notes)}


def _study(path: Path) -> dict:
    from pva.field import read_records, read_study

    records = read_records(read_study(path))
    account = records.account
    return {"rows": account.totals, "tables": account.tables.to_dict("records"),
            "set_aside": _rows(account.set_aside), "flagged": _rows(account.flagged),
            "warnings": list(records.notes)}


def _rows(listing) -> list[dict]:
    from pva.field.secrecy import without_places

    columns = ["file", "row", "column", "value", "code", "sentence"]
    rows = listing[columns].to_dict("records")
    # a position may be that of a secret place: it stays in the tables and in set_aside.csv
    return [row | {"row": int(row["row"]), "value": "" if row["code"].startswith("position-")
                   else without_places(str(row["value"]))} for row in rows]


def _tell(terminal: Terminal, entry: dict, said: set[str]) -> None:
    new = [p for p in entry["problems"] if str(p) not in said]
    said.update(map(str, new))
    for problem in new:
        terminal.answer(str(problem))
    if entry["problems"]:
        return
    terminal.say(f"{entry['path']}: a {entry['kind']} that can be read"
                if entry["kind"] != _ESTIMATES else f"{entry['path']}: estimates that can be read")
    if entry["rows"]:
        _tell_rows(terminal, entry)
    for text in entry["warnings"]:
        terminal.say(f"  Note: {text}")


def _tell_rows(terminal: Terminal, entry: dict) -> None:
    terminal.say("  " + row_sum(entry["rows"]))
    for effect, rows in (("Set aside", entry["set_aside"]), ("Flagged", entry["flagged"])):
        lines = row_lines(rows)
        for line in lines[:MOST_LINES]:
            terminal.say(f"  {effect}: {line}")
        if len(lines) > MOST_LINES:
            terminal.say(f"  {effect}: {len(lines) - MOST_LINES:,} lines more; --out DIR writes "
                         "every row to check.json")


def row_lines(rows: list[dict]) -> list[str]:
    """What is said of rows, each sentence once for all rows of a table that it holds for.

    Rows set aside only because another row was are told by a few examples.
    """
    same: dict[tuple, list[int]] = {}
    examples: Counter[tuple] = Counter()
    for row in rows:
        key = (row["file"], row["column"], row["sentence"])
        if row["code"] in FOLLOWS and key not in same:
            examples[row["file"], row["code"]] += 1
            if examples[row["file"], row["code"]] > MOST_EXAMPLES:
                key = (row["file"], row["column"], FOLLOWS[row["code"]])
        same.setdefault(key, []).append(row["row"])
    lines = []
    for (file, column, sentence), numbers in same.items():
        place = f", column {column.removeprefix('column ')}" if column else ""
        lines.append(f"{file}, {numbers_in_words(numbers)}{place}: {sentence}")
    return lines


def numbers_in_words(numbers: list[int]) -> str:
    """Row numbers as a person says them: ``row 3``, ``rows 2 to 21 and 30``."""
    from pva.results.wording import listed, spans

    parts = spans(numbers)
    if len(parts) > MOST_RUNS:
        return (f"{len(numbers):,} rows ({', '.join(parts[:MOST_RUNS])} and others up to "
                f"{numbers[-1]})")
    return f"row{'s' if len(numbers) > 1 else ''} {listed(parts)}"


def row_sum(rows: dict) -> str:
    """The row account in one line that adds up."""
    return (f"{rows['in']:,} rows in = {rows['used']:,} used + {rows['flagged']:,} flagged + "
            f"{rows['set_aside']:,} set aside")


def _as_plain(entry: dict) -> dict:
    return entry | {"problems": [problem_as_dict(p) for p in entry["problems"]]}
