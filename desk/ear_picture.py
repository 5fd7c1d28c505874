"""A picture of one ear, before or after the work: its canal from the front, as one faces the patient.

Drawn to scale from the mean adult canal: 31.4 mm long; 11.1 mm across at the entrance, 8.2 mm at the first
bend, 8.4 mm at the drum (areas taken as circles; Ear-canal geometry from CT, Hearing Research 2023,
PubMed 37201272). The record gives zones, not millimetres, so the picture shows zones and nothing finer.
What was not said is drawn in dots and called so; every mark has its words beside it, so colour is never
needed to understand it.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, Literal

from desk import wording
from desk.lines import plain
from shared.record import After, Before, Ear, Value

Moment = Literal["before", "after"]

WIDTH, HEIGHT = 420, 240
_MM = 6.0  # picture units in a millimetre
_ENTRANCE, _DRUM = 104.0, 104.0 + 31.4 * _MM
_MIDDLE = 96.0
_LEAN = 9.0  # the top of the drum lies nearer to the entrance than its foot
_LABEL_TOP, _LINE, _COLUMN_CHARS = 172, 18, 17

_ZONES = {"outer": (0.02, 0.34), "middle": (0.34, 0.67), "deep": (0.67, 0.97), "on_drum": (0.82, 1.0)}
_SOMEWHERE = (0.2, 0.8)
_FILL = {"complete": 1.0, "partial": 0.5, "none": 0.15}
_LEFT_BEHIND = {"partial": 0.25, "none": 1.0}
_WAX = {
    "white": "#f1ece0", "grey": "#a7a39b", "beige": "#dcc9a3", "yellow": "#e3bd4a", "honey": "#cf932c",
    "orange": "#cc7425", "light_brown": "#b08552", "brown": "#86592f", "dark_brown": "#57371d",
    "red_brown": "#7b3a22", "black": "#2b2520",
}  # fmt: skip
_MARKS = {
    "inflamed": "flush", "abraded": "flush", "tender": "flush", "bleeding": "drops", "discharge": "drops",
    "hairy": "hairs", "dry": "flakes", "eczema": "flakes", "flaking": "flakes", "loose": "flakes",
    "attached": "flakes", "fungal": "specks", "exostoses": "bumps",
}  # fmt: skip
_TIGHT = {"narrow": 0.6, "swollen": 0.55}


@dataclass(frozen=True)
class _Label:
    """Words under the picture. column: 0 the entrance, 1 the wax, 2 the drum. at: what they point to."""

    column: int
    words: str
    at: tuple[float, float]


def ear_picture(ear: Ear, moment: Moment) -> str:
    """The picture as one SVG element, WIDTH by HEIGHT or more, that carries its own words.

    Lines take the colour of the text around it (`currentColor`).
    """
    said = describe(ear, moment)
    look = ear.before if moment == "before" else ear.after
    tight = min((_TIGHT.get(v.value, 1.0) for v in (look.canal if look else [])), default=1.0)
    shapes = [_outer_ear(), _canal(tight), *_wax(ear, moment, tight), *_canal_marks(look, tight)]
    shapes += _drum(look, tight)
    mirror = f' transform="translate({WIDTH} 0) scale(-1 1)"' if ear.side.value == "left" else ""
    labels = _labels(ear, moment)
    height = max(HEIGHT, *(_LABEL_TOP + (1 + len(_wrapped(label.words))) * _LINE for label in labels))
    written = "".join(_written(label, mirrored=bool(mirror)) for label in labels)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="ear-picture" viewBox="0 0 {WIDTH} {height}" role="img"'
        f' aria-label="{escape(said)}"><title>{escape(said)}</title>'
        f'<g fill="none" stroke="currentColor" stroke-width="2" stroke-linecap="round"{mirror}>'
        f"{''.join(shapes)}</g>{written}</svg>"
    )


def describe(ear: Ear, moment: Moment) -> str:
    """The same in words, e.g. "Right ear, before. Wax: hard, dark brown. Drum: not seen."."""
    parts = ". ".join(label.words for label in _labels(ear, moment))
    return f"{wording.EARS[ear.side.value]}, {moment}. {parts}."


def _labels(ear: Ear, moment: Moment) -> list[_Label]:
    look = ear.before if moment == "before" else ear.after
    wall = (_ENTRANCE + 30, _MIDDLE + _half(0.16))
    found = [_Label(1, _wax_words(ear, moment), _at(sum(_extent(ear.before or Before())) / 2, 0.5))]
    if look and (look.canal or look.skin):
        words = [_said(v, f"{moment}.canal") for v in look.canal]
        words += [f"skin {_said(v, f'{moment}.skin')}" for v in look.skin]
        found.append(_Label(0, f"Canal: {', '.join(words)}", wall))
    drum = [_said(v, f"{moment}.drum") for v in look.drum] if look else []
    found.append(_Label(2, f"Drum: {', '.join(drum) or 'not said'}", (_DRUM + 4, _MIDDLE + _half(1.0) - 6)))
    return sorted(found, key=lambda label: label.column)


def _said(value: Value[Any], field: str) -> str:
    doubt = " (possible)" if value.certainty == "possible" else ""
    return plain(value, field) + doubt


def _wax_words(ear: Ear, moment: Moment) -> str:
    if moment == "after":
        cleared = ear.after.clearance if ear.after else None
        return f"Cleared: {_said(cleared, 'after.clearance')}" if cleared else "Cleared: not said"
    before = ear.before or Before()
    parts = []
    for wax in before.wax:
        layer = "" if wax.where.value == "whole" else f"{_said(wax.where, '')} "
        kinds: Sequence[Value[Any]] = [*wax.consistency, *wax.colour]
        parts.append(layer + " ".join(_said(v, "before.wax") for v in kinds))
    words = [", ".join(filter(None, (p.strip() for p in parts))) or ("seen" if parts else "")]
    if before.occlusion_percent:
        words.append(f"blocked {_said(before.occlusion_percent, 'before.occlusion_percent')}")
    elif before.occlusion:
        words.append(f"blocked {_said(before.occlusion, 'before.occlusion')}")
    words += [_said(v, "before.depth") for v in before.depth]
    if before.foreign_body:
        words.append(f"foreign body: {_said(before.foreign_body, 'before.foreign_body')}")
    return f"Wax: {'; '.join(filter(None, words)) or 'not said'}"


def _half(t: float, tight: float = 1.0) -> float:
    """Half the canal's height at t (0 the entrance, 1 the drum)."""
    wide, bend, end = 11.1, 8.2, 8.4
    across = wide + (bend - wide) * min(t / 0.4, 1.0) if t < 0.4 else bend + (end - bend) * (t - 0.4) / 0.6
    squeeze = 1 - (1 - tight) * math.sin(math.pi * min(max(t, 0.0), 1.0)) if tight < 1 else 1.0
    return across * _MM / 2 * squeeze


def _at(t: float, side: float = 0.0, tight: float = 1.0) -> tuple[float, float]:
    """A point of the canal: t along it, side -1 the roof to 1 the floor."""
    x = _ENTRANCE + t * (_DRUM - _ENTRANCE) + side * _LEAN * max(t, 0.0)
    y = _MIDDLE - 8 * math.sin(2 * math.pi * min(max(t, 0.0), 1.0)) * 0.8 + side * _half(t, tight)
    return x, y


def _path(points: Sequence[tuple[float, float]], extra: str, *, closed: bool = False) -> str:
    line = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return f'<path d="M{line}{"Z" if closed else ""}" {extra}/>'


def _along(start: float, end: float, side: float, tight: float) -> list[tuple[float, float]]:
    return [_at(start + (end - start) * n / 12, side, tight) for n in range(13)]


def _outer_ear() -> str:
    """The shell of the ear, cut open where the canal begins."""
    (x, top), (_, foot) = _at(0, -1), _at(0, 1)
    return (
        f'<path d="M{x:.0f} {top:.0f}C{x - 16:.0f} {top - 6:.0f} {x - 30:.0f} 40 {x - 48:.0f} 22'
        f"C{x - 74:.0f} 4 {x - 96:.0f} 34 {x - 90:.0f} 74C{x - 86:.0f} 108 {x - 62:.0f} 128 {x - 56:.0f} 148"
        f"C{x - 50:.0f} 168 {x - 22:.0f} 168 {x - 16:.0f} 150C{x - 12:.0f} 140 {x - 6:.0f} {foot + 6:.0f}"
        f' {x:.0f} {foot:.0f}" fill="currentColor" fill-opacity="0.06"/>'
    )


def _canal(tight: float) -> str:
    roof, floor = _along(0, 1, -1, tight), _along(0, 1, 1, tight)
    inside = _path(
        [*roof, *reversed(floor)], 'stroke="none" fill="currentColor" fill-opacity="0.04"', closed=True
    )
    return inside + _path(roof, "") + _path(floor, "")


def _wax(ear: Ear, moment: Moment, tight: float) -> Iterator[str]:
    before = ear.before or Before()
    cleared = ear.after.clearance if ear.after else None
    if moment == "after":
        if cleared is None:
            yield _body(_SOMEWHERE, 1.0, "none", tight, sure=False)
            return
        if cleared.value == "complete":
            return
    elif before.foreign_body:
        x, y = _at(0.55, 0.3, tight)
        yield f'<circle cx="{x:.0f}" cy="{y:.0f}" r="9" fill="currentColor" fill-opacity="0.25"/>'
    occlusion = before.occlusion.value if before.occlusion else None
    if not (before.wax or before.depth or before.occlusion_percent or occlusion in ("partial", "complete")):
        if moment == "before" and occlusion is None and not before.foreign_body:
            yield _body(_SOMEWHERE, 1.0, "none", tight, sure=False)
        return
    start, end = _extent(before)
    if before.occlusion_percent:
        filled: float | None = max(before.occlusion_percent.value / 100, 0.1)
    else:
        filled = _FILL.get(occlusion or "")
    if moment == "after" and cleared:
        filled = _LEFT_BEHIND[cleared.value] * (filled or 1.0)
    layers = {wax.where.value: wax for wax in before.wax}
    named = [name for name in ("whole", "surface", "middle", "inner") if name in layers] or ["whole"]
    step = (end - start) / len(named)
    for n, name in enumerate(named):
        colours = layers[name].colour if name in layers else []
        fill = _WAX[colours[0].value] if colours else "currentColor"
        part = (start + n * step, start + (n + 1) * step)
        yield _body(part, filled or 1.0, fill, tight, sure=filled is not None, coloured=bool(colours))


def _extent(before: Before) -> tuple[float, float]:
    """Where along the canal the wax lies."""
    zones = [_ZONES[v.value] for v in before.depth] or [_SOMEWHERE]
    return min(a for a, _ in zones), max(b for _, b in zones)


def _body(
    extent: tuple[float, float], filled: float, fill: str, tight: float, *, sure: bool, coloured: bool = False
) -> str:
    """Wax between two places of the canal, lying on its floor; in dots when its amount was not said."""
    start, end = extent
    floor = _along(start, end, 0.97, tight)
    top = _along(start, end, 0.97 - 1.94 * filled, tight)
    if filled < 1:  # wax lies in a heap, and does not end in a step
        top = [(x, y + (floor[n][1] - y) * (abs(n - 6) / 6) ** 3) for n, (x, y) in enumerate(top)]
    opacity = 0.95 if coloured else 0.22
    dots = "" if sure else ' stroke-dasharray="1 6"'
    return _path(
        [*floor, *reversed(top)],
        f'fill="{fill}" fill-opacity="{opacity if sure else opacity / 2:.2f}" stroke-width="1.5"{dots}',
        closed=True,
    )


def _canal_marks(look: Before | After | None, tight: float) -> Iterator[str]:
    if look is None:
        return
    said: Sequence[Value[Any]] = [*look.canal, *look.skin]
    kinds = {_MARKS[v.value] for v in said if v.value in _MARKS}
    for kind in sorted(kinds):
        for n in range(5):
            side = -1 if n % 2 else 1
            (x, y), (_, inner) = _at(0.08 + n * 0.17, side, tight), _at(0.08 + n * 0.17, side * 0.72, tight)
            yield _mark(kind, x, y, inner)


def _mark(kind: str, x: float, y: float, inner: float) -> str:
    match kind:
        case "flush":
            return (
                f'<path d="M{x - 11:.0f} {y:.0f}h22" stroke="#c0392b" stroke-width="5" stroke-opacity="0.8"/>'
            )
        case "drops":
            return f'<circle cx="{x:.0f}" cy="{inner:.0f}" r="3.5" fill="#c0392b" stroke="none"/>'
        case "hairs":
            bend = (y + inner) / 2
            return f'<path d="M{x:.0f} {y:.0f}Q{x + 4:.0f} {bend:.0f} {x + 10:.0f} {inner:.0f}" stroke-width="1"/>'
        case "bumps":
            return (
                f'<ellipse cx="{x:.0f}" cy="{y:.0f}" rx="11" ry="7" fill="currentColor" fill-opacity="0.2"/>'
            )
        case "specks":
            return f'<circle cx="{x:.0f}" cy="{inner:.0f}" r="2" fill="currentColor"/>'
        case _:
            return f'<path d="M{x - 6:.0f} {inner:.0f}l6 -3l6 3" stroke-width="1.2"/>'


def _drum(look: Before | After | None, tight: float) -> Iterator[str]:
    """The drum, seen on edge."""
    (x1, y1), (x2, y2) = _at(1.0, -1, tight), _at(1.0, 1, tight)
    found = {v.value for v in look.drum} if look else set()
    bow = 13 * ("bulging" in found) * -1 + 13 * ("retracted" in found) + 4
    mx, my = (x1 + x2) / 2 + bow, (y1 + y2) / 2
    stroke = 'stroke-width="4"'
    if "inflamed" in found:
        stroke = 'stroke-width="6" stroke="#c0392b"'
    if not found or "not_seen" in found:
        stroke = 'stroke-width="3" stroke-dasharray="1 7"'
    edge = [
        (x1 + (x2 - x1) * t + 4 * (mx - (x1 + x2) / 2) * t * (1 - t), y1 + (y2 - y1) * t)
        for t in (n / 20 for n in range(21))
    ]
    for part in (edge[:8], edge[12:]) if "perforated" in found else (edge,):
        yield _path(part, stroke)
    if "dull" in found:
        yield _path([(x + 7, y) for x, y in edge[2:-2]], 'stroke-opacity="0.4"')
    if "scarred" in found:
        yield f'<ellipse cx="{mx:.1f}" cy="{my - 10:.1f}" rx="5" ry="8" fill="#f4efe4"/>'
    if "grommet" in found:
        yield f'<path d="M{mx - 7:.1f} {my - 5:.1f}v10m0 -5h14m0 -5v10" stroke-width="3"/>'
    if "fluid" in found:
        pool = [(x + 3, y) for x, y in edge[10:]] + [(x2 + 14, y2), (mx + 16, my)]
        yield _path(pool, 'fill="#b9770e" fill-opacity="0.5" stroke-width="1"', closed=True)


def _written(label: _Label, *, mirrored: bool) -> str:
    """A label in its column, with a line to what it is about."""
    column = 2 - label.column if mirrored else label.column
    x = (70, WIDTH / 2, WIDTH - 70)[column]
    to = WIDTH - label.at[0] if mirrored else label.at[0]
    lines = _wrapped(label.words)
    rows = "".join(
        f'<tspan x="{x:.0f}" y="{_LABEL_TOP + 16 + n * _LINE}">{escape(line)}</tspan>'
        for n, line in enumerate(lines)
    )
    return (
        f'<path d="M{to:.0f} {label.at[1]:.0f}L{x:.0f} {_LABEL_TOP}" fill="none" stroke="currentColor"'
        f' stroke-opacity="0.45"/><text text-anchor="middle" font-size="16" fill="currentColor">{rows}</text>'
    )


def _wrapped(words: str) -> list[str]:
    """The words in lines that fit a column; a number stays with its sign."""
    return textwrap.wrap(words.replace(" %", "\u00a0%"), _COLUMN_CHARS, break_long_words=False)
