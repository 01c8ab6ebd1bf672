"""Which page of the documentation stands in which group of the site."""

from __future__ import annotations

from pathlib import Path

DOCS = Path(__file__).resolve().parent
REST = "How to"  # a page that no group names stands here

GROUPS: dict[str, list[str]] = {
    "Begin": ["../README", "new-study", "own-tables"],
    "Tutorials": ["tutorial-planner", "tutorial-reviewer", "tutorial-researcher"],
    "Learn by truth": ["learn-by-truth"],
    "Questions": ["questions/sizes", "questions/ages-and-sources", "questions/sites",
                  "questions/goal", "questions/no-host", "questions/host-returns",
                  "questions/host-saturates", "questions/two-hosts", "questions/immunity",
                  "questions/lack-of-mates", "questions/donor-bed", "questions/published-matrices",
                  "questions/no-field-data"],
    REST: ["planner", "reviewer", "researcher", "technician", "field-sheets", "spreadsheet-form",
           "trace", "mistakes", "stock", "compare", "sensitivity", "explore", "donor", "monitor",
           "check-against-data", "figures"],
    "Methods": ["model-year", "equations", "estimation", "published-checks", "real-data",
                "performance", "likelihood-speed"],
    "Reference": ["commands", "scenario-reference", "study-reference", "published-values"],
    "Limits and cautions": ["limits-and-cautions"],
    "For contributors": ["../DEVELOPERS", "changelog"],
}


def grouped() -> dict[str, list[str]]:
    """Groups with their pages, each page of the folder once; names without ending.

    Returns
    -------
    dict of str to list of str
        Pages relative to this folder, in reading order.
    """
    named = {page for pages in GROUPS.values() for page in pages}
    there = {str(page.relative_to(DOCS).with_suffix("")).replace("\\", "/")
             for page in DOCS.rglob("*.md")} - {"index"}
    groups = {title: [p for p in pages if p.startswith("../") or p in there]
              for title, pages in GROUPS.items()}
    groups[REST] += sorted(there - named)
    return {title: pages for title, pages in groups.items() if pages}


def contents() -> str:
    """The groups as hidden tables of contents, which the site shows beside every page."""
    parts = []
    for title, pages in grouped().items():
        listed = "\n".join(f"/docs/{p}" if not p.startswith("../") else p.replace("..", "")
                           for p in pages)
        parts.append(f"```{{toctree}}\n:hidden:\n:caption: {title}\n:maxdepth: 1\n\n"
                     f"{listed}\n```\n")
    return "\n".join(parts)
