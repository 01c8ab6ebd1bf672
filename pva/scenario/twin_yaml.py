"""The resolved twin as YAML that reads like a scenario: rates on one line, defaults marked."""

from __future__ import annotations

import io
import re
from typing import Any

from pva.scenario.spec_rates import RATE_KEYS

_MOVED = {"sites", "start", "limits", "covariance", "calibration_base", "warnings", "recruitment",
          "name", "site", "survival", "growth", "year_sd", "age", "times_survival", "in_years",
          "species", "description"}
_FLOW = {"years", "length_mm", "chance", "runs", "genetics", "delivered", "fertilised", "immunity",
         "keys", "stages", "adults", "in_years", "where", "number", "ceiling", "beverton_holt",
         "ricker", "year_sd", "by_year", "interval", "link", "source"}
WIDTH = 4096  # lines are not folded: a rate stays on one line


def yaml_text(twin: dict[str, Any], written: Any, *, head: str = "") -> str:
    """YAML of a twin; keys that nobody wrote are marked ``# default``.

    Parameters
    ----------
    twin : dict
        As `pva.scenario.twin.twin_of` makes it.
    written : mapping
        The merged written document.
    head : str
        Comment for the first lines.
    """
    from ruamel.yaml import YAML

    yaml = YAML()
    yaml.width = WIDTH
    yaml.default_flow_style = False
    yaml.indent(mapping=2, sequence=4, offset=2)
    stream = io.StringIO()
    document = _styled(twin, written, ())
    yaml.dump(document, stream)
    comment = "".join(f"# {line}\n" for line in head.splitlines())
    return comment + re.sub(r" *# default$", "  # default", stream.getvalue(), flags=re.MULTILINE)


def _styled(data: Any, written: Any, path: tuple) -> Any:
    from ruamel.yaml.comments import CommentedMap, CommentedSeq

    if isinstance(data, dict):
        block = CommentedMap()
        flow = _is_flat(data, path)
        if flow:
            block.fa.set_flow_style()
        for key, value in data.items():
            block[key] = _styled(value, _below(written, key, value), (*path, key))
            if not flow and _is_default(written, key, path):
                block.yaml_add_eol_comment("default", key)
        return block
    if isinstance(data, list):
        rows = CommentedSeq(
            [_styled(v, _row_of(written, v, i), (*path, i)) for i, v in enumerate(data)]
        )
        if not any(isinstance(v, dict) for v in data) and path != ("warnings",):
            rows.fa.set_flow_style()
        return rows
    if isinstance(data, float) and data == int(data) and abs(data) < 1e15:
        return int(data)
    return data


def _is_flat(data: dict, path: tuple) -> bool:
    if "value" in data and all(k in RATE_KEYS for k in data):
        return True
    if path and path[-1] in _FLOW and len(path) > 0:
        return not any(isinstance(v, dict) for v in data.values())
    return not data


def _below(written: Any, key: Any, value: Any) -> Any:
    if isinstance(written, dict):
        return written.get(key, _ABSENT)
    return written


def _row_of(written: Any, row: Any, index: int) -> Any:
    if not isinstance(written, list):
        return _ABSENT
    for one in written:
        if isinstance(one, dict) and isinstance(row, dict) and one.get("name") == row.get("name"):
            return one
    return written[index] if index < len(written) else _ABSENT


def _is_default(written: Any, key: Any, path: tuple) -> bool:
    """Whether a key of the twin stands in a block that was written, but without it."""
    if not isinstance(written, dict) or key in written or "estimate" in written:
        return False
    if key in _MOVED and path[:1] != ("bad_years",):
        return False
    inside = path[0] if path else key
    return inside not in ("recruitment", "survival", "growth", "calibration_base", "matrix")


_ABSENT = object()
