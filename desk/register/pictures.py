"""The register's pictures, as SVG, by matplotlib. Each stands beside its numbers and is told in words."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from threading import Lock
from typing import TYPE_CHECKING

from desk.register.figures import Chart, Register

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LIGHT = {"ink": "#23282b", "faint": "#858b8c", "main": "#2f5d4f", "beyond": "#a8232b", "paper": "#ffffff"}
DARK = {"ink": "#eceae4", "faint": "#7c8484", "main": "#8fc7b2", "beyond": "#ff9c98", "paper": "#1f2425"}

Colours = dict[str, str]
_ONE_AT_A_TIME = Lock()  # matplotlib's settings are the whole program's


def pictures(register: Register, *, dark: bool = False) -> dict[str, Callable[[], bytes]]:
    """What draws each picture there is something for, by its name: "cleared", "complications", "time", "times",
    "lengths"."""
    colours = DARK if dark else LIGHT
    out: dict[str, Callable[[], bytes]] = {
        chart.name: _drawing(lambda axes, c=chart: _p_chart(axes, c, colours), colours)  # type: ignore[misc]
        for chart in register.charts()
    }
    if register.month_seconds:
        out["time"] = _drawing(lambda axes: _run_chart(axes, register, colours), colours)
    if register.all_seconds:
        minutes = [seconds / 60 for seconds in register.all_seconds]
        out["times"] = _drawing(
            lambda axes: _histogram(axes, minutes, "minutes, of an ear", colours), colours
        )
    if register.all_lengths:
        out["lengths"] = _drawing(lambda axes: _lengths(axes, register.all_lengths, colours), colours)
    return out


def _drawing(draw: Callable[[Axes], None], colours: Colours) -> Callable[[], bytes]:
    def drawn() -> bytes:
        import matplotlib as mpl  # noqa: PLC0415  (slow to load)
        from matplotlib.figure import Figure  # noqa: PLC0415

        # Letters as outlines, so that it looks the same wherever it is printed; no date, so that it is the same
        # file for the same numbers.
        with (
            _ONE_AT_A_TIME,
            mpl.rc_context({"svg.fonttype": "path", "svg.hashsalt": "earside", "font.size": 11}),
        ):
            figure = Figure(figsize=(8, 3.2), layout="constrained", facecolor=colours["paper"])
            axes = figure.add_subplot(facecolor=colours["paper"])
            for edge in ("top", "right"):
                axes.spines[edge].set_visible(False)
            for edge in ("bottom", "left"):
                axes.spines[edge].set_color(colours["faint"])
            draw(axes)
            axes.tick_params(colors=colours["ink"])
            for label in (axes.xaxis.label, axes.yaxis.label):
                label.set_color(colours["ink"])
            out = io.BytesIO()
            figure.savefig(out, format="svg", metadata={"Date": None, "Creator": "Earside"})
        return out.getvalue()

    return drawn


def _p_chart(axes: Axes, chart: Chart, colours: Colours) -> None:
    rows = chart.rows()
    at = range(len(rows))
    shares = [100 * (share.share or 0) for _, share, *_ in rows]
    axes.plot(at, shares, color=colours["main"], marker="o", zorder=3)
    beyond = [n for n, row in enumerate(rows) if row[4]]
    axes.plot(beyond, [shares[n] for n in beyond], color=colours["beyond"], marker="D", ls="", ms=9, zorder=4)
    axes.axhline(100 * chart.centre, color=colours["ink"], lw=1)
    for limits in ([100 * low for _, _, low, _, _ in rows], [100 * high for _, _, _, high, _ in rows]):
        axes.step(at, limits, where="mid", color=colours["faint"], ls="--", lw=1.2)
    axes.set_ylabel("%")
    highest = max(*shares, *(100 * row[3] for row in rows))
    axes.set_ylim(-0.04 * highest, 1.04 * highest + 0.1)
    _month_ticks(axes, [row[0] for row in rows])


def _run_chart(axes: Axes, register: Register, colours: Colours) -> None:
    medians = [found.median / 60 for _, found in register.month_seconds]
    axes.plot(range(len(medians)), medians, color=colours["main"], marker="o")
    if register.seconds:
        axes.axhline(register.seconds.median / 60, color=colours["ink"], lw=1)
    axes.set_ylabel("minutes, median")
    axes.set_ylim(0, 1.15 * max(medians))
    _month_ticks(axes, [month for month, _ in register.month_seconds])


def _histogram(axes: Axes, numbers: Sequence[float], words: str, colours: Colours) -> None:
    axes.hist(numbers, bins=min(30, max(5, int(len(numbers) ** 0.5))), color=colours["main"])
    axes.set_xlabel(words)
    _counted(axes, "ears")


def _lengths(axes: Axes, lengths: Sequence[tuple[int, int]], colours: Colours) -> None:
    axes.bar([mm for mm, _ in lengths], [n for _, n in lengths], width=0.9, color=colours["main"])
    axes.set_xlabel("millimetres, of a piece")
    _counted(axes, "pieces")


def _counted(axes: Axes, what: str) -> None:
    from matplotlib.ticker import MaxNLocator  # noqa: PLC0415

    axes.set_ylabel(what)
    axes.yaxis.set_major_locator(MaxNLocator(integer=True))


def _month_ticks(axes: Axes, months: Sequence[str]) -> None:
    step = -(-len(months) // 12)
    shown = range(0, len(months), step)
    axes.set_xticks(list(shown), [months[n] for n in shown], rotation=30 if len(months) > 6 else 0)
    axes.set_xlim(-0.5, len(months) - 0.5)
