"""YAML text to nodes, given up as soon as there are too many of them or they lie too deep.

Without these limits a hostile file would cost its reader minutes before anything is known of it.
"""

from __future__ import annotations

import io
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.composer import Composer


class TooLarge(Exception):  # noqa: N818 - it says what was found
    """The text holds more nodes, or deeper ones, than are read.

    Parameters
    ----------
    mark : ruamel mark
        Where reading was given up.
    deep : bool
        Whether the depth was the reason, not the number.
    """

    def __init__(self, mark: Any, *, deep: bool):
        super().__init__()
        self.mark, self.deep = mark, deep


def compose(text: str, *, most_nodes: int, most_depth: int) -> Any:
    """The root node of a YAML text, or None where it is empty.

    Raises
    ------
    TooLarge
        More than `most_nodes` keys and values, or nested more than `most_depth` deep.
    ruamel.yaml.error.YAMLError, ValueError
        The text is no YAML.
    """
    reader = YAML(typ="safe", pure=True)

    class Counting(Composer):
        nodes = depth = 0

        def compose_node(self, parent: Any, index: Any) -> Any:
            Counting.nodes += 1
            Counting.depth += 1
            deep = Counting.depth > most_depth + 1
            if deep or Counting.nodes > most_nodes:
                raise TooLarge(self.parser.peek_event().start_mark, deep=deep)
            try:
                return super().compose_node(parent, index)
            finally:
                Counting.depth -= 1

    reader.Composer = Counting
    return reader.compose(io.StringIO(text))
