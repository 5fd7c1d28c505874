"""The register in words: what stands above the figures, and what each picture shows."""

from __future__ import annotations

import csv
import io
from datetime import datetime

from desk.register.figures import Register
from desk.register.statistics import SMALL, Share, Spread

COLUMNS = ("table", "line", "of", "n", "in_all", "share", "low_95", "high_95", "said_with_doubt", "note")
HOW = (
    "Shares have a 95 % interval by Wilson's score: where it is wide, the figures tell little. "
    f"Groups of fewer than {SMALL} are marked as small. Limits of the charts are three standard errors; a month "
    "beyond them is worth a look, nothing more. Figures describe what was said and recorded; they judge nobody."
)


def counted(register: Register) -> list[str]:
    """What was counted and what was left out, in sentences."""
    n = register.counts
    out = [f"{_many(n['visits'], 'visit')} with {_many(n['ears'], 'ear')}, {n['worked']} of them worked on."]
    if register.drafts:
        out.append(
            f"{n['drafts']} of the visits are drafts or open amendments: not yet checked, they may be wrong."
        )
    else:
        out.append(
            f"Only signed visits count; {_many(n['left_out'], 'draft or open amendment', 'drafts or open amendments')} "
            "of this period left out."
        )
    if n["side_unstated"]:
        out.append(f"Of {_many(n['side_unstated'], 'ear')} the side was not said.")
    if n["undated"]:
        out.append(
            f"{_many(n['undated'], 'visit')} without a known day: counted on the day on which the recording was read."
        )
    return out


def made(at: datetime) -> str:
    """When and from what the register was made."""
    return f"Made from dictated records on {at:%Y-%m-%d} at {at:%H:%M}."


def percent(share: Share) -> str:
    """E.g. "84.0 %", "" of nothing."""
    return "" if share.share is None else f"{100 * share.share:.1f} %"


def interval(share: Share) -> str:
    """E.g. "77.1 to 89.2 %"; a small group says so."""
    if share.low is None or share.high is None:
        return ""
    return f"{100 * share.low:.1f} to {100 * share.high:.1f} %" + (", small group" if share.small else "")


def minutes(seconds: float) -> str:
    """Seconds as "4:05"."""
    return f"{round(seconds) // 60}:{round(seconds) % 60:02d}"


def times(spread: Spread | None) -> str:
    """The spread of the times, in words."""
    if spread is None:
        return "No words with times: nothing to tell."
    middle = f"half of them between {minutes(spread.quarter)} and {minutes(spread.three_quarters)}"
    return (
        f"Median {minutes(spread.median)} minutes over {_many(spread.n, 'ear')}, {middle}, all between "
        f"{minutes(spread.low)} and {minutes(spread.high)}{_small(spread)}. From the first word about an ear to the "
        "last: not the whole of the work."
    )


def lengths(spread: Spread | None) -> str:
    """The spread of the lengths, in words."""
    if spread is None:
        return "No lengths were said."
    return (
        f"Median {spread.median:g} mm over {_many(spread.n, 'piece')}, half of them between {spread.quarter:g} and "
        f"{spread.three_quarters:g} mm, all between {spread.low:g} and {spread.high:g} mm{_small(spread)}."
    )


def picture(name: str, register: Register) -> str:
    """What a picture shows, for those who do not see it; its numbers stand beside it."""
    for chart in register.charts():
        if chart.name == name:
            beyond = [row[0] for row in chart.rows() if row[4]]
            return (
                f"{chart.heading}: {_many(len(chart.groups), 'month')}, {100 * chart.centre:.1f} % in all; "
                f"beyond the limits: {', '.join(beyond) or 'none'}."
            )
    return {
        "time": f"Run chart of the median time, month by month. {times(register.seconds)}",
        "times": f"How the times spread. {times(register.seconds)}",
        "lengths": f"How the lengths spread. {lengths(register.lengths)}",
    }[name]


def table_text(register: Register) -> str:
    """All tables as CSV under COLUMNS; shares of 1."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    note = "with drafts" if register.drafts else "signed visits only"
    period = f"{register.since} to {register.until}, {note}"

    def put(table: str, words: str, of: str, share: Share, doubtful: int = 0, more: str = "") -> None:
        low, high = share.low, share.high
        numbers = ("" if x is None else f"{x:.4f}" for x in (share.share, low, high))
        notes = "; ".join(filter(None, (period, more, "small group" if share.small else "")))
        writer.writerow((table, words, of, share.n, share.of, *numbers, doubtful, notes))

    for table in register.tables:
        for line in table.lines:
            put(table.heading, line.words, table.of, line.share, line.doubtful)
    for chart in register.charts():
        for month, share, low, high, beyond in chart.rows():
            limits = f"limits {low:.4f} to {high:.4f}" + (", beyond" if beyond else "")
            put(chart.heading, month, chart.of, share, more=limits)
    return out.getvalue()


def _small(spread: Spread) -> str:
    return " (a small group)" if spread.n < SMALL else ""


def _many(n: int, one: str, more: str = "") -> str:
    return f"{n} {one if n == 1 else more or one + 's'}"
