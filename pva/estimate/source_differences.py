"""A difference in survival between sources may come from detection: it is shown both ways."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import expit

from pva.estimate.contrasts import joint, survival_contrast
from pva.estimate.link_scale import Z95
from pva.estimate.survival import Data, Fitted, fit_model

SPANS_MOST = 0.6  # width of an interval of survival beyond which it tells nothing


def source_differences(chosen: Fitted, data: Data, inflation: float) -> list[str]:
    """Differences between sources with detection shared, and with each source's own.

    Parameters
    ----------
    chosen : Fitted
        The reported model.
    data : Data
    inflation : float
        Overdispersion, at least 1.

    Returns
    -------
    list of str
        One sentence for each source against the first; empty where survival does not differ by
        source, or detection does.
    """
    model = chosen.model
    if "source" not in model.survival or "source" in model.detection:
        return []
    own = fit_model(replace(model, detection=(*model.detection, "source")), data, near=chosen)
    sources = sorted(chosen.steps["source"].unique())
    return [_sentence(chosen, own, sources[0], other, inflation) for other in sources[1:]]


def _sentence(chosen: Fitted, own: Fitted, one: str, other: str, inflation: float) -> str:
    shared, apart = (_gap(f, one, other, inflation) for f in (chosen, own))
    words = (f"yearly survival of {one} less that of {other}, logit scale: {shared[0]:.2f} (SE "
             f"{shared[1]:.2f}) with detection shared")
    if not np.isfinite(apart[1]):
        return (f"{words}; with each source's own detection it cannot be told: the data cannot "
                "tell whether survival or detection differs")
    words += f", {apart[0]:.2f} (SE {apart[1]:.2f}) with each source's own detection"
    vague = [text for text in (_vague(own, s, inflation) for s in (one, other)) if text]
    if vague:
        return f"{words}; the data cannot tell: then {' and '.join(vague)}"
    if abs(shared[0]) > Z95 * shared[1] and abs(apart[0]) < Z95 * apart[1]:
        return (f"{words}; it may come from detection alone: the data cannot tell whether survival "
                "or detection differs")
    return words


def _gap(fitted: Fitted, one: str, other: str, inflation: float) -> tuple[float, float]:
    gap = survival_contrast(fitted, source=one) - survival_contrast(fitted, source=other)
    told = joint(fitted, {"gap": gap}, inflation)
    return float(told.mean[0]), float(told.se[0])


def _vague(fitted: Fitted, source: str, inflation: float) -> str:
    """Words for a survival whose interval spans most of 0 to 1."""
    told = joint(fitted, {"own": survival_contrast(fitted, source=source)}, inflation)
    low, high = expit(told.mean[0] + np.array([-Z95, Z95]) * told.se[0])
    if high - low <= SPANS_MOST:
        return ""
    return f"survival of {source} lies between {low:.2f} and {high:.2f}"
