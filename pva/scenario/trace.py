"""One number followed back: from the value in the model to its rows, its citation or its reason."""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pva.errors import MeaningError, Problem
from pva.files.near_names import did_you_mean
from pva.lifehistory import catalogue
from pva.scenario.places import plain
from pva.scenario.scenario import Scenario
from pva.scenario.written_place import block_at, path_of, place_at

ROWS_USED = "rows_used.csv"


@dataclass(frozen=True)
class TableRows:
    """Rows of one field table behind a number.

    Parameters
    ----------
    file, kind : str
    table_rows, set_aside : int
        Rows of the whole table, and those of them that were set aside.
    used, flagged : int
        Rows behind this number; flagged ones were used, but deserve a look.
    rows, flagged_rows : tuple of int
        Their numbers, as a spreadsheet counts them.
    """

    file: str
    kind: str
    table_rows: int
    set_aside: int
    used: int
    flagged: int
    rows: tuple[int, ...] = ()
    flagged_rows: tuple[int, ...] = ()


@dataclass(frozen=True)
class Trace:
    """The chain behind one rate of a scenario.

    Parameters
    ----------
    name : str
        Key of the rate.
    value : dict
        ``value``, ``doubt``, ``se``, ``low``, ``high``, ``years_sd``, ``by_year`` as in the model.
    sites : tuple of str
        Where it is used; empty = at every site alike, or at none.
    written : dict or None
        ``file``, ``line``, ``text`` of what the scenario says; None for a default.
    source : dict
        ``kind``, ``words``, ``status``, ``note``.
    estimate : dict or None
        Key, file, number, animals and note of the estimate, and the model chosen.
    tables : tuple of TableRows
        Field rows behind the estimate.
    published : dict or None
        The entry of the catalogue.
    calibrated : tuple of dict
        Solved values by site.
    follows : Trace or None
        The chain of the target that a calibrated number follows.
    missing : str
        Why the chain ends early; empty where it does not.
    """

    name: str
    value: dict
    sites: tuple[str, ...]
    written: dict | None
    source: dict
    estimate: dict | None = None
    tables: tuple[TableRows, ...] = ()
    published: dict | None = None
    calibrated: tuple[dict, ...] = ()
    follows: Trace | None = None
    missing: str = ""

    def summary(self) -> dict:
        """The chain as plain data; numbers of rows are in the CSV."""
        tables = [{k: v for k, v in vars(t).items() if not isinstance(v, tuple)}
                  | {"first_rows": list(t.rows[:_FIRST])} for t in self.tables]
        return {k: v for k, v in vars(self).items() if k not in ("tables", "follows", "sites")} | {
            "sites": list(self.sites), "tables": tables, "calibrated": list(self.calibrated),
            "follows": None if self.follows is None else self.follows.summary()}


_FIRST = 5


def trace(scenario: Scenario, name: str, *, calibrated: Sequence[dict] = ()) -> Trace:
    """Follow a rate of a scenario back to where it comes from.

    Parameters
    ----------
    scenario : Scenario
    name : str
        Key of the rate as in the parameter table, such as ``survival/adult``; dots may stand for
        the strokes.
    calibrated : sequence of dict
        Solved values: ``site``, ``name``, ``value``, ``target``.

    Returns
    -------
    Trace

    Raises
    ------
    MeaningError
        No rate of the scenario is called so.
    """
    rows = {row["name"]: row for row in scenario.parameters()}
    # releases that take one estimate share its draw, and so its name in the table
    shared = {f"releases/{r.name}/first_year_survival": r.first_year_survival.key
              for r in scenario.resolved.releases if r.first_year_survival is not None}
    key = next((k for k in (name, name.replace(".", "/"), shared.get(name)) if k in rows), None)
    if key is None:
        raise MeaningError(_unknown(name, list(rows)))
    return _Tracer(scenario, rows, calibrated).follow(key)


def _unknown(name: str, known: list[str]) -> Problem:
    return Problem(f"the scenario has no rate called `{name}`", did_you_mean(
        name, known, f"Its rates are {', '.join(known)}."), done="Nothing was traced.",
        code="unknown-rate")


@dataclass
class _Tracer:
    scenario: Scenario
    rows: dict[str, dict]
    calibrated: Sequence[dict]
    data: Any = field(init=False)

    def __post_init__(self):
        self.data = self.scenario.written_places

    def follow(self, key: str) -> Trace:
        row = self.rows[key]
        path = () if row["source_kind"] == "default" else path_of(self.data, key)
        block = block_at(self.data, path) if path else None
        found: dict[str, Any] = {
            "name": key,
            "value": {k: row[k] for k in ("value", "doubt", "se", "low", "high", "years_sd",
                                          "by_year")},
            "sites": self._sites(key), "written": self._written(path, block),
            "source": {"kind": row["source_kind"], "words": row["source"],
                       "status": row["status"], "note": row["note"]},
        }
        if row["source_kind"] == "calibrated":
            return Trace(**found, **self._calibration(key))
        return Trace(**found, **self._reference(key, block, row))

    def _sites(self, key: str) -> tuple[str, ...]:
        site = key.partition(" @ ")[2]
        return (site,) if site else ()

    def _written(self, path: tuple, block: Any) -> dict | None:
        if not path:
            return None
        place = place_at(self.data, path)
        text = "" if path == ("matrix",) else json.dumps(plain(block), ensure_ascii=False)
        where = ".".join(self._part(path, i) for i in range(len(path)))
        return {"file": place.file, "line": place.line, "key": where, "text": text}

    def _part(self, path: tuple, i: int) -> str:
        """One part of a path in words: rows by name."""
        if not isinstance(path[i], int):
            return str(path[i])
        row = block_at(self.data, path[:i + 1])
        named = isinstance(row, dict) and row.get("name")
        return str(named or f"row {path[i] + 1}")

    def _calibration(self, key: str) -> dict:
        name = key.removeprefix("recruitment/")
        target = next((k for k in self.rows if k.startswith(f"{key}/")), None)
        return {"calibrated": tuple(c for c in self.calibrated if c["name"] == name),
                "follows": None if target is None else self.follow(target)}

    def _reference(self, key: str, block: Any, row: dict) -> dict:
        named = block if isinstance(block, dict) else {}
        if named.get("estimate"):
            return self._estimate(str(named["estimate"]), key)
        entry = self._entry(named, row)
        return {} if entry is None else {"published": _plain_entry(entry)}

    def _entry(self, named: dict, row: dict) -> Any:
        key = named.get("published") or (row["source"].partition(":")[0]
                                         if row["source_kind"] == "published" else None)
        # none where the scenario cites in its own words
        return None if key is None else catalogue.named(str(key))

    def _estimate(self, label: str, key: str) -> dict:
        from pva.estimate.estimates_file import read_estimates

        file = self.data.get("estimates")
        if file is None:
            return {"missing": "The scenario names no estimates file; only the numbers taken from "
                    "it are known."}
        estimates = read_estimates(file)
        if label.startswith("abundance/"):
            stage = key.partition(" @ ")[0].partition("/")[2]
            stages = estimates.abundance.get(label.partition("/")[2], {})
            found = stages.get(stage) or stages.get("animals")
        else:
            found = estimates.rates.get(label)
        lines = _lines_of(Path(file).parent / ROWS_USED, label)
        told = {"key": label, "file": str(file), "model": lines[0]["model"] if lines else None,
                "by_hand": [n for n in estimates.notes if n.startswith(f"{label} was changed")]}
        if found is not None:
            told |= {"value": found.value, "se": found.se, "apparent": found.apparent,
                     "interval": None if found.interval is None else list(found.interval),
                     "n": found.n, "source": str(found.source), "note": found.note}
        missing = "" if lines else (
            f"Which rows stand behind it is not known: {ROWS_USED} is missing beside the estimates "
            "file, or does not name it. Run `pva estimate` on the study.")
        return {"estimate": told, "tables": tuple(_table(line) for line in lines),
                "missing": missing}


def _lines_of(path: Path, key: str) -> list[dict]:
    """Lines of rows_used.csv about one key."""
    from pva.files import restored

    try:
        with path.open(encoding="utf-8", newline="") as handle:
            found = [{k: restored(v) for k, v in line.items()} for line in csv.DictReader(handle)]
    except OSError:
        return []
    return [line for line in found if line.get("key") == key]


def _table(line: dict) -> TableRows:
    from pva.files.number_runs import from_runs

    flagged = from_runs(line["flagged_rows"])
    return TableRows(line["file"], line["is"], int(line["in"]), int(line["set_aside"]),
                     int(line["used"]), int(line["flagged"]),
                     tuple(sorted([*from_runs(line["rows"]), *flagged])), tuple(flagged))


def _plain_entry(entry: Any) -> dict:
    return {"key": entry.key, "figure": entry.figure, "unit": entry.unit, "status": entry.status,
            "confidence": entry.confidence, "citation": entry.citation, "species": entry.species,
            "water": entry.water, "n": entry.n, "method": entry.method, "notes": entry.notes,
            "references": list(entry.references)}
