"""Where a number comes from: its kind, its words, and how sure anybody is of it."""

from __future__ import annotations

from dataclasses import dataclass

KINDS = ("measured", "published", "calibrated", "assumed", "default", "given")


@dataclass(frozen=True)
class Source:
    """Provenance of one number.

    Parameters
    ----------
    kind : {'measured', 'published', 'calibrated', 'assumed', 'default', 'given'}
        `given` is a number written in a scenario without any source.
    text : str
        The source in words: data set, citation, target of a calibration, reason.
    status : str
        For published numbers: ``read``, ``derived`` or ``memory``; else empty.
    """

    kind: str
    text: str = ""
    status: str = ""

    def __post_init__(self):
        if self.kind not in KINDS:
            raise ValueError(f"source kind {self.kind!r} is not one of {', '.join(KINDS)}")

    def __str__(self) -> str:
        status = f" ({self.status})" if self.status else ""
        return f"{self.kind}: {self.text}{status}" if self.text else self.kind

    @classmethod
    def from_written(cls, written: dict | None) -> Source:
        """Turn ``{measured: text}`` and the like, as written in YAML, into a source."""
        if not written:
            return cls("given")
        kind, text = next(iter(written.items()))
        return cls(kind, str(text))

    def as_written(self) -> dict:
        """The form a YAML file holds."""
        return {self.kind: self.text + (f" [{self.status}]" if self.status else "")}
