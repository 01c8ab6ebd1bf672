"""A study: its written form read in two passes, and where its files lie."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from pva.errors import FormError, MeaningError, Problem
from pva.field.form import form_problems, nearest
from pva.field.layout import layout_problems
from pva.field.records import ALIVE, HEARD, REMOVED, SHELL
from pva.field.reuse import reuse_problems
from pva.field.spec import SiteSpec, StudySpec, TableFile, TableSpec, targets
from pva.files import Positions, read_yaml
from pva.files.near_names import ALIKE_FILES, near_name
from pva.files.yaml_kinds import STUDY, refuse_another_kind

STUDY_FILE = "study.yaml"
STATUS = (ALIVE, HEARD, SHELL, REMOVED)
EVENTS = ("release", "encounter")
DIFFERS_BY = {
    "survival": ("site", "source", "stage", "length", "batch", "year", "species", "bad_years"),
    "detection": ("site", "source", "stage", "length", "batch", "year", "visit", "method",
                  "effort", "passes", "species"),
    "growth": ("site", "source", "batch"),
}
OF_THE_SEARCH = ("visit", "method", "effort", "passes")


@dataclass(frozen=True)
class Study:
    """A study as written, checked, with the place of its files.

    Parameters
    ----------
    path : Path
        The study.yaml.
    spec : StudySpec
        Its content with every default filled in.
    positions : Positions
        Line and column of every key.
    """

    path: Path
    spec: StudySpec
    positions: Positions

    @property
    def folder(self) -> Path:
        """Folder that every path of the study is relative to."""
        return self.path.parent

    @property
    def estimates_folder(self) -> Path:
        """Where estimates, figures and set_aside.csv go."""
        return self.folder / "estimates"

    @property
    def results_folder(self) -> Path:
        """Where runs go."""
        return self.folder / "results"

    @property
    def title(self) -> str:
        return self.spec.title

    @property
    def species(self) -> list[str]:
        return self.spec.species

    @property
    def sites(self) -> list[SiteSpec]:
        return self.spec.sites

    def place(self, written: str) -> Path:
        """Path of a file named in the study."""
        return self.folder / written


def study_path(path: str | os.PathLike) -> Path:
    """The study.yaml meant by a folder or a file name."""
    path = Path(path)
    return path / STUDY_FILE if path.is_dir() else path


def read_study(path: str | os.PathLike) -> Study:
    """Read a study: a folder that holds study.yaml, or that file itself.

    Returns
    -------
    Study

    Raises
    ------
    FormError
        The file is not valid YAML, or keys are unknown, missing or of the wrong type; all
        problems together.
    MeaningError
        Names that do not fit, files that are missing, places that cannot be; all together.
    """
    path = study_path(path)
    written, positions = read_yaml(path)
    refuse_another_kind(path, written, STUDY)
    try:
        spec = StudySpec.model_validate(written)
    except ValidationError as error:
        raise FormError(form_problems(error, StudySpec, positions)) from None
    study = Study(path, spec, positions)
    problems = list(_meaning(study))
    if problems:
        raise MeaningError(problems)
    return study


def _meaning(study: Study) -> Iterator[Problem]:
    yield from _site_problems(study)
    for i, table in enumerate(study.spec.tables):
        yield from _table_problems(study, table, table.kind, ("tables", i))
    yield from _visit_problems(study)
    yield from reuse_problems(study)
    yield from _other_problems(study)
    yield from layout_problems(study)


def _site_problems(study: Study) -> Iterator[Problem]:
    seen: dict[str, str] = {}
    for i, site in enumerate(study.sites):
        for name in [site.name, *site.also_called]:
            level = " ".join(name.casefold().split())
            if level in seen:
                yield study.positions.problem(
                    ("sites", i, "name"), f"the site name `{name}` is used twice",
                    "Give every site its own names.", code="site-twice")
            seen[level] = name
        for k, (latitude, longitude) in enumerate(site.corners):
            if abs(latitude) > 90 or abs(longitude) > 180:
                yield study.positions.problem(
                    ("sites", i, "corners", k),
                    f"a corner of `{site.name}` lies nowhere on earth",
                    "Write latitude first, then longitude, in decimal degrees.",
                    code="corner-impossible")


def _table_problems(study: Study, table: TableFile, kind: str, at: tuple) -> Iterator[Problem]:
    place = study.positions.problem
    if not study.place(table.file).is_file():
        folder = study.place(table.file).parent
        beside = [f.name for f in folder.iterdir() if f.is_file()] if folder.is_dir() else []
        near = near_name(Path(table.file).name, beside, alike=ALIKE_FILES)
        yield place((*at, "file"), f"there is no file `{table.file}`",
                    (f"Did you mean `{Path(table.file).with_name(near).as_posix()}`?" if near else
                     "Check the name; paths start at the folder of the study."),
                    code="file-missing")
    allowed = targets(kind)
    for key in ("columns", "values", "fill"):
        for target in getattr(table, key):
            if target not in allowed:
                yield place((*at, key, target), f"a table of {kind} has no `{target}`",
                            nearest(target, allowed), code="unknown-column")
    yield from _word_problems(study, table, at)
    for target, source in table.columns.items():
        if (source.column is None) == (not source.join):
            yield place((*at, "columns", target), f"`{target}` names no column, or a column and a "
                        "`join`", "Write either `column` or `join`.", code="column-source")
        for part in source.parts():
            if part.first and part.last:
                yield place((*at, "columns", target), f"`{target}` asks for the first and the last "
                            "characters at once", "Write one of them.", code="column-source")


def _word_problems(study: Study, table: TableFile, at: tuple) -> Iterator[Problem]:
    """Words that a table's own words are turned into must be words that the reader knows."""
    known = {"status": STATUS, "event": EVENTS, "species": study.species,
             "site": [n for s in study.sites for n in [s.name, *s.also_called]]}
    for target, allowed in known.items():
        made = [(("values", target, old), new) for old, new in table.values.get(target, {}).items()]
        made += [(("fill", target), table.fill[target])] if target in table.fill else []
        for path, word in made:
            if allowed and word and word.casefold() not in [a.casefold() for a in allowed]:
                yield study.positions.problem(
                    (*at, *path), f"`{word}` is no {target} of this study",
                    nearest(word, allowed), code="word-unknown")


def _visit_problems(study: Study) -> Iterator[Problem]:
    visits, place = study.spec.visits, study.positions.problem
    listed = any(t.kind == "visits" for t in study.spec.tables)
    if visits is None:
        needed = any(t.kind in ("encounters", "reader log") for t in study.spec.tables)
        if needed and not listed:
            yield place((), "the study does not say what a visit is",
                        "Write `visits: {from: FILE}` with the days of every visit, or "
                        "`visits: {made_of_days: 3}` to join days that lie close together.",
                        code="visits-missing")
        return
    if visits.table is not None:
        yield from _table_problems(study, visits.table, "visits", ("visits", "from"))
    ways = (visits.table is not None) + (visits.made_of_days is not None) + listed
    if ways != 1:
        yield place(("visits",), "visits are described in no way or in two ways",
                    "Write either `from` or `made_of_days`.", code="visits-twice")


def _other_problems(study: Study) -> Iterator[Problem]:
    spec, place = study.spec, study.positions.problem
    for key in ("corrected", "accepted"):
        named = getattr(spec, key)
        if named and not study.place(named).is_file():
            yield place((key,), f"there is no file `{named}`",
                        f"Make it, or remove `{key}`.", code="file-missing")
    for part in ("survival", "detection", "growth"):
        for i, name in enumerate(getattr(spec, part).differs_by):
            if name not in DIFFERS_BY[part]:
                yield place((part, "differs_by", i), f"{part} cannot differ by `{name}`",
                            _instead(part, name), code="differs-by-unknown")
    yield from _staying(spec, place)
    if not all(1 <= month <= 12 for month in spec.growth.season):
        yield place(("growth", "season"), "months run from 1 to 12", "Correct the season.",
                    code="season-impossible")
    for i, stage in enumerate(spec.stages):
        if stage.length_mm[0] >= stage.length_mm[1]:
            yield place(("stages", i, "length_mm"), f"the stage `{stage.name}` ends before it "
                        "begins", "Write the smaller length first.", code="stage-lengths")


def _staying(spec: StudySpec, place) -> Iterator[Problem]:
    """What the chance of staying cannot mean."""
    staying, where = spec.survival.staying, ("survival", "staying")
    if staying is None:
        return
    if (staying.value is None) == (staying.outside_searched is None):
        yield place(where, "the chance of staying needs either a value with its source or "
                    "`outside_searched`", "Write one of the two.", code="staying-how")
    elif staying.value is not None and not staying.source.strip():
        yield place(where, "the chance of staying has no source",
                    "Write where the number comes from (`source`).", code="staying-source")
    elif staying.outside_searched and not any(s.role == "outside" for s in spec.sites):
        yield place(where, "`outside_searched` is stated, but no site has the role `outside`",
                    "Give the reaches around the sites that role.", code="staying-outside")
    if spec.survival.shells.found == "anywhere":
        yield place(where, "the chance of staying is told by shells found anywhere, and is stated "
                    "besides", "Leave out `staying`, or write `shells: {found: at the site}`.",
                    code="staying-twice")


def _instead(part: str, name: str) -> str:
    """What to write in place of something that a rate cannot differ by."""
    if name in OF_THE_SEARCH:
        return (f"How animals were looked for changes who is found, not who lives or grows: write "
                f"`{name}` under `detection`, or `year` here.")
    if name == "bad_years" and part == "detection":
        return "A bad year changes survival: name it there, and write `visit` here."
    return nearest(name, DIFFERS_BY[part])


__all__ = ["Study", "TableSpec", "read_study", "study_path"]
