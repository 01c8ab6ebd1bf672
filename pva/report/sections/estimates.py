"""What the records say: survival, release survival, detection, tags, growth, density, recruits."""

from __future__ import annotations

from pva.report.blocks import Section, Text
from pva.report.material import Material


def section(material: Material) -> Section:
    """Third part of the page."""
    title, short = "What the records say", "Estimates"
    if not material.estimates:
        return Section("estimates", title, (Text(
            "No rate on this page was estimated from field records."),), short)
    return Section("estimates", title, (), short)
