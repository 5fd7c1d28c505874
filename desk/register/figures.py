"""The register: the practice's own figures over a period, from counts of the store. No figure without its
numbers; no share without its interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from desk import complete, fields, wording
from desk.register import due
from desk.register.statistics import Share, Spread, p_chart, spread, wilson
from shared.errors import BadInput
from shared.store import Store
from shared.store.audit import Counting, Month, Tally


@dataclass(frozen=True)
class Line:
    """One line of a table: what, its share, and how many more were said with doubt only."""

    words: str
    share: Share
    doubtful: int = 0


@dataclass(frozen=True)
class Table:
    """A table of shares. of: what the shares are taken of, in words. note: what must be known to read it."""

    heading: str
    of: str
    lines: tuple[Line, ...]
    note: str = ""


@dataclass(frozen=True)
class Register:
    """The register of [since, until]. counts: visits, drafts, left_out, undated, ears, worked, side_unstated.
    seconds: from the first to the last word about an ear. lengths: millimetres, each with how often."""

    since: date
    until: date
    drafts: bool
    counts: dict[str, int]
    tables: tuple[Table, ...]
    months: tuple[Month, ...]
    month_seconds: tuple[tuple[str, Spread], ...]
    seconds: Spread | None
    all_seconds: tuple[float, ...]
    lengths: Spread | None
    all_lengths: tuple[tuple[int, int], ...]

    def charts(self) -> list[Chart]:
        """The p-charts over months that have something to show."""
        cleared = [(m.month, m.cleared, m.clearing_said) for m in self.months if m.clearing_said]
        hurt = [(m.month, m.complications, m.worked) for m in self.months if m.worked]
        made = (
            ("cleared", "Ears cleared completely, month by month", "ears of which it was said", cleared),
            ("complications", "Ears with a complication, month by month", "ears worked on", hurt),
        )
        return [Chart(name, heading, of, tuple(groups)) for name, heading, of, groups in made if groups]


@dataclass(frozen=True)
class Chart:
    """A p-chart: groups are (month, n, of)."""

    name: str
    heading: str
    of: str
    groups: tuple[tuple[str, int, int], ...]

    def rows(self) -> list[tuple[str, Share, float, float, bool]]:
        """Month, share, lower and upper limit, and whether it lies beyond one."""
        _, points = p_chart([(n, of) for _, n, of in self.groups])
        return [
            (month, wilson(n, of), point.low, point.high, point.outside)
            for (month, n, of), point in zip(self.groups, points, strict=True)
        ]

    @property
    def centre(self) -> float:
        """The share in all months together."""
        return p_chart([(n, of) for _, n, of in self.groups])[0]


def register(store: Store, since: date, until: date, *, today: date, drafts: bool = False) -> Register:
    """The register of all visits from `since` to `until`, both days included, by this computer's clock.

    drafts: count visits that are not signed, too. Raises BadInput if the period ends before it begins.
    """
    if until < since:
        raise BadInput(
            f"the period ends ({until}) before it begins ({since})",
            where="period",
            remedy="Give the earlier day first.",
        )
    start, end = (datetime.combine(day, time()).astimezone() for day in (since, until + timedelta(days=1)))
    with store.audit(start, end, drafts=drafts) as counting:
        counts = counting.visits() | counting.ears()
        timed, lengths = counting.seconds(), counting.numbers("removed_mm")
        by_month: dict[str, list[float]] = {}
        for month, seconds in timed:
            by_month.setdefault(month, []).append(seconds)
        tables = (*_of_ears(counting, counts), *_of_visits(counting, counts))
        months = tuple(counting.months())
    return Register(
        since,
        until,
        drafts,
        counts,
        (*tables, _recall(store, since, until, today, drafts=drafts)),
        months,
        tuple((month, found) for month, numbers in by_month.items() if (found := spread(numbers))),
        spread([seconds for _, seconds in timed]),
        tuple(seconds for _, seconds in timed),
        spread([mm for mm, n in lengths for _ in range(n)]),
        tuple(lengths),
    )


def _of_ears(counting: Counting, counts: dict[str, int]) -> list[Table]:
    ears, worked = counts["ears"], counts["worked"]
    cleared = {tally.value: tally for tally in counting.clearance()}
    said = sum(tally.n for value, tally in cleared.items() if value)
    unsaid = cleared.get("", Tally("", 0, 0))
    how = dict(fields.options("after.clearance"))
    hurt = [t for t in counting.values("complications") if t.value != "none"]
    any_hurt = Line("any of them", wilson(counting.with_complication(), worked))
    return [
        Table(
            "Ears cleared",
            "ears of which it was said",
            tuple(Line(words, wilson(cleared[v].n if v in cleared else 0, said)) for v, words in how.items()),
            f"Not said of {unsaid.n} ears, said with doubt of {unsaid.doubtful}.",
        ),
        Table(
            "Complications",
            "ears worked on",
            (any_hurt, *_lines("complications", hurt, worked)),
            "Only what was said to have happened. An ear of which nothing was said may have had one.",
        ),
        _values(counting, "Methods", "procedure.methods", ears),
        _values(counting, "Instruments", "procedure.instruments.name", ears),
        _values(counting, "Wax, how it was", "before.wax.consistency", ears),
        _values(counting, "Wax, its colour", "before.wax.colour", ears),
        Table(
            "Completeness, of an ear",
            "ears",
            tuple(
                Line(f"{w.words} ({w.source})", wilson(counting.having(w.met_by, of_visit=False), ears))
                for w in complete.OF_EAR
            ),
            "How many records hold it. Local protocol and professional judgement decide what a record needs.",
        ),
    ]


def _of_visits(counting: Counting, counts: dict[str, int]) -> list[Table]:
    visits = counts["visits"]
    corrected, referred = counting.corrected(), counting.values("plan.referral.to", of_visit=True)
    return [
        Table(
            "Completeness, of a visit",
            "visits",
            tuple(
                Line(f"{w.words} ({w.source})", wilson(counting.having(w.met_by, of_visit=True), visits))
                for w in complete.OF_VISIT
            ),
        ),
        Table(
            "Referrals",
            "visits",
            _lines("plan.referral.to", referred, visits),
        ),
        Table(
            "Drafts that a person corrected",
            "visits",
            (
                Line("in any field", wilson(corrected["corrected"], visits)),
                *(Line(_name(t.value), wilson(t.n, visits)) for t in counting.corrected_fields()),
            ),
            f"{corrected['values']} values were changed, added or taken out, not counting what was taken back. "
            "Changes under an amendment are among them.",
        ),
    ]


def _recall(store: Store, since: date, until: date, today: date, *, drafts: bool) -> Table:
    """Of the recalls whose day was in the period: how many were seen again, and when."""
    kept = late = missed = unknown = 0
    for one in due.recalls(store, today):
        if not (one.first_day and since <= one.first_day <= until and one.first_day < today):
            continue
        if not (one.checked or drafts) or one.state in ("replaced", "declined"):
            continue
        if one.said.patient_reference is None:
            unknown += 1
            continue
        again = one.done_on or one.again
        if again is None or one.seen is None:
            missed += 1
        elif again - one.first_day <= (one.first_day - one.seen) * due.TOO_EARLY:
            kept += 1
        else:
            late += 1
    of = kept + late + missed
    return Table(
        "Recall kept",
        "recalls with a reference whose day was in this period",
        (
            Line("seen again in time", wilson(kept, of)),
            Line("seen again later", wilson(late, of)),
            Line("not seen again so far", wilson(missed, of)),
        ),
        "In time: within a quarter of the interval before or after its day (our rule). Marked as done counts as seen "
        "on the day of the mark. Left out: recalls that were "
        f"declined, or replaced by a new one, and {unknown} without a patient reference.",
    )


def _values(counting: Counting, heading: str, field: str, of: int) -> Table:
    return Table(heading, "ears; one ear may have several", _lines(field, counting.values(field), of))


def _lines(field: str, tallies: Sequence[Tally], of: int) -> tuple[Line, ...]:
    words = dict(fields.options(field))
    return tuple(Line(words.get(t.value, t.value), wilson(t.n, of), t.doubtful) for t in tallies)


def _name(field: str) -> str:
    """A field of the table of edits in words."""
    names = wording.FIELDS | wording.PARTS | wording.ALONE
    bare = fields.bare(field)
    return names.get(bare) or names.get(f"{bare}.item") or bare.replace("_", " ").replace(".", ", ")
