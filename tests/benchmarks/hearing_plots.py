"""The pictures of docs/hearing.md, as SVG, by matplotlib."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import matplotlib as mpl
from reliability import SURE, SURE_RIGHT, wilson

mpl.use("svg")
mpl.rcParams |= {
    "svg.hashsalt": "earside",
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
}

import matplotlib.pyplot as plt  # noqa: E402

COLOURS = ("#2f5d4f", "#a8232b", "#858b8c")
CLEAN = 26
"""Where clean speech stands on the axis of decibels."""

Points = Mapping[tuple[str, float | None], Mapping[str, float]]


def levels(points: Points, path: Path) -> None:
    """A panel for each measure, a line for each model, over the levels. points: measures by (model, level)."""
    names = list(next(iter(points.values())))
    figure, panels = plt.subplots(1, len(names), figsize=(9, 3), layout="constrained")
    for panel, name in zip(panels, names, strict=True):
        for model, colour in zip(dict.fromkeys(m for m, _ in points), COLOURS, strict=False):
            at = {
                CLEAN if level is None else level: p[name] for (m, level), p in points.items() if m == model
            }
            panel.plot(list(at), list(at.values()), "o-", color=colour, label=model)
        ticks = sorted({CLEAN if level is None else level for _, level in points})
        panel.set_xticks(ticks, ["clean" if t == CLEAN else f"{t:g}" for t in ticks])
        panel.set(title=name, ylim=(0, 1), xlabel="speech over suction, dB")
    panels[0].legend(frameon=False)
    _kept(figure, path)


def reliability(halves: Mapping[str, Sequence[tuple[float, int, int]]], path: Path) -> None:
    """The share of right values over the confidence given. halves: (mean confidence, right, of) by bin."""
    figure, axes = plt.subplots(figsize=(4.5, 4.5), layout="constrained")
    axes.plot((0, 1), (0, 1), ":", color=COLOURS[2], label="confidence as it should be")
    axes.plot((SURE, 1), (SURE_RIGHT, SURE_RIGHT), "-", color="#c28a00", lw=2, label=f"aim over {SURE:g}")
    for (name, bins), colour, aside in zip(halves.items(), COLOURS, (-26, 6), strict=False):
        full = [(mean, right / of, *wilson(right, of), of) for mean, right, of in bins if of]
        means, shares = [f[0] for f in full], [f[1] for f in full]
        spread = [[f[1] - f[2] for f in full], [f[3] - f[1] for f in full]]
        axes.errorbar(means, shares, spread, fmt="o", color=colour, capsize=3, label=name)
        for mean, right, *_, of in full:
            axes.annotate(
                str(of), (mean, right), (aside, -2), textcoords="offset points", color=colour, fontsize=7
            )
    axes.set(
        xlim=(0.48, 1.05), ylim=(0.48, 1.02), xlabel="confidence given", ylabel="share right, 95 % interval"
    )
    axes.legend(frameon=False, loc="lower right")
    _kept(figure, path)


def _kept(figure: plt.Figure, path: Path) -> None:
    figure.savefig(path, metadata={"Date": None, "Creator": None})
    plt.close(figure)
