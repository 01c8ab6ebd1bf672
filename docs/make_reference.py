"""Writes the reference pages of the documentation from the code itself.

Run from the top of the project: ``python docs/make_reference.py``. A test fails where a page and
this script differ. Words about scenario keys stand in pva/scenario/spec*.py; words about study keys
stand in pva/field/words.py; values come from the catalogue in shared/life_history.yaml.
"""

from __future__ import annotations

import inspect
import sys
import types
import typing
from collections import Counter
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path

import click
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from pva.cli import main
from pva.field.reasons import EFFECT, SENTENCE
from pva.field.spec import KINDS, StudySpec, targets
from pva.field.study import DIFFERS_BY
from pva.field.words import COLUMN_WORDS, KIND_WORDS, STUDY_WORDS
from pva.files import write_text_atomic
from pva.lifehistory.catalogue import entries, not_found
from pva.results.measures import UNITS, WORDS
from pva.scenario.spec import KeyWords, every_key

DOCS = Path(__file__).resolve().parent
sys.path.insert(0, str(DOCS))
from mistakes_page import mistakes  # noqa: E402

MADE = "<!-- Written by docs/make_reference.py; change the code or the script, not this page. -->\n"


def scenario_reference() -> str:
    """Every key of a scenario, by its first word, then RATE, the measures, and the twin's keys."""
    keys = [k for k in every_key() if not k.twin_only]
    hidden = [k for k in every_key() if k.twin_only and "." not in k.path]
    header = ["key", "written as", "meaning", "default"]
    parts = [MADE, "# Scenario reference\n", _SCENARIO_HEAD, "## At the top of the file\n"]
    parts.append(_table(header, [_key_row(k) for k in keys if k.path == _first_word(k)]))
    for first, group in groupby(keys, key=_first_word):
        inner = [k for k in group if k.path != first]
        if not inner:
            continue
        parts.append("## RATE: one vital rate\n" if first == "RATE" else f"## `{first}`\n")
        if first == "RATE":
            parts.append(_RATE_HEAD)
        parts.append(_table(header, [_key_row(k) for k in inner]))
    parts.append("## Measures\n\nYearly numbers that goals and `until` rules may name. Flows of a "
                 "year (recruits, the replacement ratio, glochidia per host) are listed at the "
                 "census that ends it; they are empty at the first census and where nothing can be "
                 "divided.\n")
    parts.append(_table(["measure", "what", "unit"],
                        [[f"`{m}`", WORDS[m], UNITS[m]] for m in UNITS]))
    parts.append("## Keys of the resolved scenario\n\n`pva show --twin` prints a scenario with "
                 "nothing implied. It may hold these keys besides; they are not meant to be "
                 "typed.\n")
    parts.append(_table(["key", "meaning"], [[f"`{k.path}`", k.meaning] for k in hidden]))
    return "\n".join(parts)


_SCENARIO_HEAD = """\
A scenario is a YAML file: keys and values, indented where they belong together. Every key is
listed here; an unknown key is refused with its line and the nearest key that exists. `[]` after a
key means a list of rows, NAME stands for a name of your own, and RATE is a number with its doubt
and its source, described [below](#rate-one-vital-rate). `on`/`off` and `yes`/`no` are both
understood, and so is `1e-5`. `pva show FILE` prints what a file means, with every default.

What the keys do in the model is told in [the model year](model-year.md) and
[the equations](equations.md).
"""

_RATE_HEAD = """\
A bare number is a value without a source. A full RATE is written
`{value: 0.93, se: 0.01, year_sd: 0.02, source: {measured: recaptures 2018-2025}}`, or
`{estimate: survival/adult}` to take it from the estimates file, or `{published: gravid_share}` to
take it from the [catalogue of published values](published-values.md). `se` and `interval` say what
we do not know; `year_sd` says how years differ. The two are never mixed.
"""


def _first_word(key: KeyWords) -> str:
    return key.path.split(".")[0].split("[")[0]


def _key_row(key: KeyWords) -> list[str]:
    default = "**required**" if key.required else key.default or "-"
    return [f"`{key.path}`", key.form, key.meaning, default]


_STUDY_HEAD = """\
# Study reference

A study is a folder with a `study.yaml` in it. The file names the sites and says how each table of
the crew is to be read; the tables themselves stay as they are. Paths start at the folder of the
study. `[]` after a key means a list of rows, NAME stands for a name of the list that follows.
How the pieces work together is told in [for data technicians](technician.md).
"""


def study_reference() -> str:
    """Every key of study.yaml, the columns of every table, and every reason code."""
    parts = [MADE, _STUDY_HEAD, "## Keys of `study.yaml`\n"]
    parts.append(_table(["key", "written as", "meaning", "default"],
                        [_study_row(*k) for k in study_keys(StudySpec)]))
    for part, names in DIFFERS_BY.items():
        parts.append(f"`{part}.differs_by` may name: " + ", ".join(f"`{n}`" for n in names)
                     + ".\n")
    parts.append("## Field tables\n\nOne fact a row. A column that already bears the name below "
                 "needs no line under `columns`; columns of your own are kept.\n")
    for kind in KINDS:
        parts.append(f"### {kind}\n\n{KIND_WORDS[kind]}\n")
        if kind != "reader log":
            parts.append(_table(["column", "what"],
                                [[f"`{c}`", COLUMN_WORDS.get((kind, c)) or COLUMN_WORDS[c]]
                                 for c in targets(kind)]))
    parts.append("## Why a row is set aside or flagged\n\nA row *set aside* is not used; it is "
                 "kept whole in `set_aside.csv`. A *flagged* row is used, but deserves a look. "
                 "Words in braces are filled in from the row.\n")
    parts.append(_table(["code", "effect", "what it says"],
                        [[f"`{c}`", EFFECT[c], SENTENCE[c].replace("{{", "{").replace("}}", "}")]
                         for c in SENTENCE]))
    return "\n".join(parts)


def study_keys(form: type[BaseModel], prefix: str = "") -> Iterator[tuple[str, FieldInfo]]:
    """All keys of the study form with their fields, in order; rows as ``[]``."""
    for name, info in form.model_fields.items():
        path = prefix + (info.alias or name)
        yield path, info
        for inner, ending in _forms_in(info.annotation):
            yield from study_keys(inner, path + ending + ".")


def _forms_in(annotation: object, ending: str = "") -> Iterator[tuple[type[BaseModel], str]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation, ending
    origin = typing.get_origin(annotation)
    ending += {list: "[]", dict: ".NAME"}.get(origin, "")
    for part in typing.get_args(annotation):
        yield from _forms_in(part, ending)


def _study_row(path: str, info: FieldInfo) -> list[str]:
    words = STUDY_WORDS[path]
    if info.is_required():
        default = "**required**"
    elif isinstance(info.default, str | int | float) and not isinstance(info.default, bool):
        default = str(info.default) or "empty"
    elif isinstance(info.default, list) and info.default:
        default = str(info.default)
    else:
        default = "-"
    return [f"`{path}`", _form_of(info.annotation), words, default]


_PLAIN = {str: "text", int: "whole number", float: "number", bool: "yes/no"}


def _form_of(annotation: object) -> str:
    """A type in plain words."""
    origin, inside = typing.get_origin(annotation), typing.get_args(annotation)
    if annotation in _PLAIN:
        return _PLAIN[annotation]
    if origin is typing.Literal:
        return ", ".join(map(str, inside))
    if origin is list:
        inner = _form_of(inside[0])
        return "rows" if inner == "keys" else f"list of {inner}"
    if origin is dict:
        return "{name: ...}"
    if origin is typing.Annotated:
        return _form_of(inside[0])
    if origin in (typing.Union, types.UnionType):
        forms = [_form_of(part) for part in inside if part is not type(None)]
        return " or ".join(dict.fromkeys(forms))
    return "keys"


def published_values() -> str:
    """Values that a scenario may take by key, and what nobody has published."""
    usable = [e for e in entries() if e.may_stand]
    nobody = [e for e in entries() if not e.is_published]
    rest = [e for e in entries() if e.is_published and not e.may_stand]
    parts = [MADE, "# Published values that may be taken by key\n", _VALUES_HEAD,
             "## Ranges: judgements over several published values\n",
             _values([e for e in usable if e.is_range]),
             "## Single published figures\n", _values([e for e in usable if not e.is_range]),
             "## Not published for mussels in the wild\n\nNobody has published these; the figures "
             "are guesses to begin a discussion with, and are refused by key. Calibrate "
             "`attachment` or `settlement` to a wanted number of recruits, ask local experts for "
             "an interval, and mark it `assumed`.\n", _values(nobody),
             "## For reading only\n\nRefused by key: of low confidence, recalled only, a bound "
             "alone, or a share over another time than a year.\n", _values(rest),
             "## Looked for and not found\n\nAsk local experts, measure, or calibrate.\n",
             _table(["what", "remark"], [[f"`{k}`", v] for k, v in not_found().items()]),
             "## References\n",
             "\n".join(f"- {r}" for r in sorted({r for e in entries() for r in e.references})), ""]
    return "\n".join(parts)


_VALUES_HEAD = """\
A scenario takes one of these with `{published: KEY}`. The figures come from
`shared/life_history.yaml`; a second reader entered all of them anew from the same sources
(`shared/second_reading.csv`) and a test compares the two. What may not be taken by key stands
further down, so that a guess cannot pass for a published number. *Read* means seen in the text
cited, *derived* means arithmetic or judgement over such figures, *memory* means recalled and not
seen. Survival in the wild is mostly apparent: animals that left or lost their mark count as dead.
Local data, local authorities and licensed biologists come first.
"""


def _values(listed) -> str:
    rows = []
    for e in listed:
        about = "; ".join(part for part in (e.origin, e.notes) if part)
        rows.append([f"`{e.key}`", e.figure, e.unit, about, f"{e.status}, {e.confidence}",
                     e.citation])
    return _table(["key", "value (interval)", "unit", "species, water, number, method; remark",
                   "status, confidence", "source"], rows)


def commands() -> str:
    """Every command with its arguments and options, as `pva COMMAND --help` tells them."""
    context = click.Context(main, info_name="pva")
    every = {name: command for name, command in main.commands.items() if not command.hidden}
    everywhere = _options_of_all(list(every.values()))
    parts = [MADE, "# Commands\n", _COMMANDS_HEAD,
             "\n".join(f"- [pva {name}](#pva-{name}): {every[name].get_short_help_str(90)}"
                       for name in every) + "\n",
             "## Options of nearly every command\n\nA command that does not take all of these "
             "lists whatever it takes below.\n", _options(list(everywhere.values()), context)]
    for name, command in every.items():
        inner = click.Context(command, info_name=name, parent=context)
        usage = " ".join(["pva", name, *command.collect_usage_pieces(inner)])
        parts.append(f"## pva {name}\n\n`{usage}`\n\n{_plain_help(command)}\n")
        own = [p for p in command.params if isinstance(p, click.Option) and not p.hidden]
        if set(everywhere) <= {p.name for p in own}:
            own = [p for p in own if p.name not in everywhere]
        if own:
            parts.append(_options(own, inner))
    return "\n".join(parts)


_COMMANDS_HEAD = """\
STUDY is a folder that holds `study.yaml`, or that file. SCENARIO is a YAML file. A command with
`--help` behind it prints the same. Exit codes: 0 done ("not reachable" and "cannot tell yet" are
answers), 1 refused input or not computable, 2 a command that was typed wrongly, 130 stopped by
Ctrl-C.
"""


def _options_of_all(every: list[click.Command]) -> dict[str, click.Option]:
    """Options that most commands share, told once."""
    met = [p for command in every for p in command.params if isinstance(p, click.Option)]
    names = Counter(p.name for p in met)
    return {p.name: p for p in met if names[p.name] > len(every) / 2}


def _options(params: list[click.Option], context: click.Context) -> str:
    records = [param.get_help_record(context) for param in params]
    return _table(["option", "meaning"], [[f"`{r[0]}`", " ".join(r[1].split())]
                                          for r in records if r])


def _plain_help(command: click.Command) -> str:
    return "\n\n".join(" ".join(part.split()) for part in
                       inspect.cleandoc(command.help or "").replace("\b", "").split("\n\n"))


def _table(header: list[str], rows: list[list[str]]) -> str:
    """A Markdown table; bars inside cells are escaped."""
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join("| " + " | ".join(str(c).replace("|", "\\|").replace("\n", " ")
                                       for c in line) + " |" for line in lines) + "\n"


PAGES = {
    "scenario-reference.md": scenario_reference,
    "study-reference.md": study_reference,
    "published-values.md": published_values,
    "commands.md": commands,
    "mistakes.md": lambda: MADE + "\n" + mistakes(),
}


def write_pages(folder: Path = DOCS) -> list[Path]:
    """Write every page into a folder."""
    return [write_text_atomic(folder / name, make()) for name, make in PAGES.items()]


if __name__ == "__main__":
    for path in write_pages():
        print(path.name)
