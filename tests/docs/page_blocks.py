"""The pages of the documentation taken apart: blocks of code, links, headings."""

from __future__ import annotations

import importlib.util
import re
import sys
import textwrap
from dataclasses import dataclass
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
DOCS = TOP / "docs"
PAGES = [TOP / "README.md", TOP / "DEVELOPERS.md", *sorted(DOCS.rglob("*.md"))]


@dataclass(frozen=True)
class CodeBlock:
    """A fenced block: its language and its text, with the indent of a list taken off."""

    language: str
    text: str
    line: int


def code_blocks(page: Path) -> list[CodeBlock]:
    """Fenced blocks of a page in their order."""
    blocks, inside = [], None
    for number, line in enumerate(page.read_text(encoding="utf-8").splitlines(), 1):
        fence = re.match(r" *```(\w*)$", line)
        if inside is None and fence:
            inside = (fence[1], number, [])
        elif inside is not None and fence and not fence[1]:
            language, begun, lines = inside
            blocks.append(CodeBlock(language, textwrap.dedent("\n".join(lines)), begun))
            inside = None
        elif inside is not None:
            inside[2].append(line)
    assert inside is None, f"{page.name}: a block is never closed"
    return blocks


def without_blocks(page: Path) -> str:
    """The text of a page outside its fenced blocks."""
    return re.sub(r"^ *```.*?^ *```$", "", page.read_text(encoding="utf-8"), flags=re.M | re.S)


def links(page: Path) -> list[str]:
    """Targets of links and pictures."""
    text = re.sub(r"`[^`]*`", "", without_blocks(page))
    return re.findall(r"\]\(([^)\s]+)\)", text)


def anchors(page: Path) -> set[str]:
    """Anchors of the headings, as common renderers make them."""
    found = set()
    for heading in re.findall(r"^#+ (.+)$", without_blocks(page), flags=re.M):
        words = re.sub(r"[^\w\- ]", "", heading.replace("`", "").lower())
        found.add(words.strip().replace(" ", "-"))
    return found


def script(name: str):
    """A script of the docs folder as a module."""
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, DOCS / f"{name}.py")
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]
