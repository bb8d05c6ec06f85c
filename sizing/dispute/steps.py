"""From one direction of an opening to the observations and steps of a dispute: what was read, seen, ordered, made."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np

from sizing.decided import Decision
from sizing.dispute.slipmodel import Model, Step
from sizing.jobs.job import Opening, Reading
from sizing.orders.inputs import room_above
from sizing.orders.rules import STATIONS, Direction, Rule
from sizing.tape import readings_cov_mm2, u_reading_mm
from vision.request import NINE, Array, Estimate

# More sets of readings than this that did not lead to the order are left out, oldest first (time of computing).
MOST_WITNESSES = 2
# Sizes that print alike are the same (contract: values to 0.01 mm).
_SAME_MM = 0.05


@dataclass(frozen=True, slots=True)
class Settings:
    """Rates and spreads of slips and the noise of sound steps: guesses, from one file; `sha256` of that file."""

    rate: Mapping[str, float]
    spread_mm: Mapping[str, float]
    noise_mm: Mapping[str, float]

    def scaled(self, rate: float, spread: float) -> Settings:
        """Return the settings with all rates (to at most one half) and spreads multiplied."""
        return replace(
            self,
            rate={k: min(v * rate, 0.5) for k, v in self.rate.items()},
            spread_mm={k: v * spread for k, v in self.spread_mm.items()},
        )


@lru_cache(maxsize=1)
def settings_bytes() -> bytes:
    """Return the file of settings."""
    return files("sizing").joinpath("data/dispute.toml").read_bytes()


def load_settings() -> Settings:
    """Return the settings as shipped."""
    table: dict[str, Any] = tomllib.loads(settings_bytes().decode())
    steps = {k: v for k, v in table.items() if isinstance(v, dict) and "rate" in v}
    noise = {k.removesuffix("_mm"): float(v) for k, v in table["noise"].items()}
    rates = {k: float(v["rate"]) for k, v in steps.items()}
    return Settings(rates, {k: float(v["spread_mm"]) for k, v in steps.items()}, noise)


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """One direction of one opening: what stands in the chain from opening to delivered piece, mm; None where not given.

    `boxes` are the readings that the order was made from, at visit `order_visit`; `witnesses` other sets of readings of
    the direction. `before`, `after`: values (3,) and covariance (3, 3) at the stations.
    """

    direction: Direction
    boxes: tuple[Reading, ...]
    order_visit: int
    witnesses: tuple[tuple[Reading, ...], ...] = ()
    before: tuple[Array, Array] | None = None
    after: tuple[Array, Array] | None = None
    ordered_mm: float | None = None
    by_rule_mm: float | None = None
    delivered_mm: float | None = None
    u_delivered_mm: float = 0.0
    left_out: int = 0
    ordered_from: str = "job"


def trace_of(
    opening: Opening,
    direction: Direction,
    rule: Rule | None,
    before: Estimate | None,
    after: Estimate | None,
    decisions: Sequence[Decision] = (),
) -> Trace:
    """Return one direction of an opening as the chain of a dispute.

    Parameters
    ----------
    opening : Opening
    direction : "width" or "height"
    rule : the rule in force, None without one that can be used.
    before, after : what photos from before the order and from afterwards say.
    decisions : on this opening, oldest first; the size of the last that released it is taken for the ordered one
        where the job gives none.

    Notes
    -----
    The order was made from the readings in force at some visit. That is taken to be the last visit whose readings
    give the ordered size by the rule (without an order the delivered one, as far as that is known); where none does,
    or there is no rule, the last visit.
    """
    ordered, ordered_from = _size_mm(opening.ordered, direction), "job"
    if ordered is None:
        ordered, ordered_from = _decided_mm(decisions, direction)
    delivered = _size_mm(opening.delivered, direction)
    states = [_in_force(opening, direction, visit.number) for visit in opening.visits] or [()]
    sizes = [_by_rule(rule, direction, state, opening) for state in states]
    tape = opening.delivered.tape if opening.delivered is not None else None
    u_delivered = 0.0 if delivered is None else u_reading_mm(delivered, tape or "unknown", None, "panel")
    known, near = (ordered, _SAME_MM) if ordered is not None else (delivered, 2.0 * u_delivered)
    fitting = [i for i, s in enumerate(sizes) if s is not None and known is not None and abs(s - known) <= near]
    at = fitting[-1] if fitting else len(states) - 1
    chain = {id(r) for r in states[at]}
    others = [
        tuple(r for r in visit.readings if r.name in STATIONS[direction] and id(r) not in chain)
        for visit in opening.visits
    ]
    others = [found for found in others if found]
    return Trace(
        direction=direction,
        boxes=states[at],
        order_visit=at,
        witnesses=tuple(others[-MOST_WITNESSES:]),
        before=_at_stations(before, direction),
        after=_at_stations(after, direction),
        ordered_mm=ordered,
        by_rule_mm=sizes[at],
        delivered_mm=delivered,
        u_delivered_mm=u_delivered,
        left_out=max(len(others) - MOST_WITNESSES, 0),
        ordered_from=ordered_from,
    )


def size_by_rule_mm(
    rule: Rule | None, direction: Direction, stations_mm: Sequence[float], opening: Opening
) -> float | None:
    """Return what the rule gives for lengths at the three stations, mm; None without a rule or a made size."""
    if rule is None:
        return None
    side = rule.of(direction)
    room = room_above(opening) if direction == "height" else None
    wanted = side.wanted([Fraction(repr(round(float(v), 3))) for v in stations_mm], room)
    chosen = None if wanted is None else side.made.chosen(wanted)
    return None if chosen is None else float(chosen)


def order_model(trace: Trace, settings: Settings) -> Model | None:
    """Return the model of the step from readings to order; None without a rule, readings or an order."""
    if trace.ordered_mm is None or trace.by_rule_mm is None:
        return None
    return _difference("ordered", trace.ordered_mm - trace.by_rule_mm, settings.noise_mm["ordered"], settings)


def making_model(trace: Trace, settings: Settings) -> Model | None:
    """Return the model of the step from order to delivered piece; None where the piece is compared with nothing.

    Without an order the piece is held to the size by the rule, and ordering and making are one.
    """
    wanted = trace.by_rule_mm if trace.ordered_mm is None else trace.ordered_mm
    if wanted is None or trace.delivered_mm is None:
        return None
    u_mm = float(np.hypot(settings.noise_mm["made"], trace.u_delivered_mm))
    model = _difference("made", trace.delivered_mm - wanted, u_mm, settings)
    # One number on the piece may be read wrongly like any other.
    misread = Step("delivered", np.ones((1, 1)), settings.rate["reading"], settings.spread_mm["reading"], witness=True)
    if trace.ordered_mm is not None:
        return replace(model, steps=(*model.steps, misread))
    order = Step("ordered", np.ones((1, 1)), settings.rate["ordered"], settings.spread_mm["ordered"])
    return replace(model, steps=(order, *model.steps, misread))


def opening_model(trace: Trace, settings: Settings, opening: Opening) -> Model | None:
    """Return the model of readings and photos of one direction; None where there are none.

    Notes
    -----
    A sound opening is a mean, a linear taper and a bow of the middle; readings and photos see it at the stations.
    """
    blocks = _blocks(trace, settings, opening)
    if not blocks:
        return None
    n = sum(len(b.rows) for b in blocks)
    y, cov, stations, at = np.empty(n), np.zeros((n, n)), np.empty(n, dtype=np.intp), 0
    columns: dict[str, list[Array]] = {}
    witness: dict[str, bool] = {}
    for block in blocks:
        rows = slice(at, at + len(block.rows))
        y[rows], cov[rows, rows], stations[rows] = block.values_mm, block.cov_mm2, block.rows
        for name, (shape, is_witness) in block.slips.items():
            full = np.zeros((n, shape.shape[1]))
            full[rows] = shape
            columns[name], witness[name] = [*columns.get(name, []), full], is_witness
        at += len(block.rows)
    taper, bow = np.array([1.0, 0.0, -1.0])[stations], np.array([0.0, 1.0, 0.0])[stations]
    cov += settings.noise_mm["taper"] ** 2 * np.outer(taper, taper) + settings.noise_mm["bow"] ** 2 * np.outer(bow, bow)
    steps = []
    for name, parts in columns.items():
        kind = name.split(":", 1)[0]
        rate, spread = settings.rate[kind], settings.spread_mm[kind]
        steps.append(Step(name, np.hstack(parts), rate, spread, witness[name]))
    return Model(y, cov, np.ones((n, 1)), tuple(steps))


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """Observations of one source: stations (n,), values, covariance, and how slips enter by name."""

    rows: tuple[int, ...]
    values_mm: Array
    cov_mm2: Array
    slips: dict[str, tuple[Array, bool]]


def _blocks(trace: Trace, settings: Settings, opening: Opening) -> list[_Block]:
    blocks = []
    for i, found in enumerate((trace.boxes, *trace.witnesses)):
        if not found:
            continue
        mark, is_witness = ("", False) if i == 0 else (f":witness-{i}", True)
        n = len(found)
        slips = {f"reading{mark}": (np.eye(n), is_witness), f"readings{mark}": (np.ones((n, 1)), is_witness)}
        if n == 1:  # one box alone: the two are one
            del slips[f"readings{mark}"]
        rows = tuple(STATIONS[trace.direction].index(r.name) for r in found)
        values = np.array([r.length.mm for r in found])
        blocks.append(_Block(rows, values, _readings_cov(found, opening), slips))
    three = (0, 1, 2)
    if trace.before is not None:
        values, cov = trace.before
        blocks.append(_Block(three, values, cov, {"photo:before": (np.ones((3, 1)), True)}))
    if trace.after is not None:
        values, cov = trace.after
        again = settings.noise_mm["after"] ** 2 * np.ones((3, 3))
        changed = {"changed": (np.ones((3, 1)), False), "photo:after": (np.ones((3, 1)), True)}
        blocks.append(_Block(three, values, cov + again, changed))
    return blocks


def _readings_cov(found: Sequence[Reading], opening: Opening) -> Array:
    """Return the covariance of sound readings; those of different tapes by the coarsest of each."""
    lengths = np.array([r.length.mm for r in found])
    worst = max(found, key=lambda r: u_reading_mm(r.length.mm, r.tape, r.graduation_mm, opening.wall))
    return readings_cov_mm2(lengths, worst.tape, worst.graduation_mm, opening.wall)


def _difference(name: str, difference_mm: float, u_mm: float, settings: Settings) -> Model:
    step = Step(name, np.ones((1, 1)), settings.rate[name], settings.spread_mm[name])
    return Model(np.array([difference_mm]), np.array([[u_mm**2]]), np.zeros((1, 0)), (step,))


def _in_force(opening: Opening, direction: Direction, visit: int) -> tuple[Reading, ...]:
    now: dict[str, Reading] = {}
    for later in opening.visits:
        if later.number <= visit:
            now.update({r.name: r for r in later.readings if r.name in STATIONS[direction]})
    return tuple(now[name] for name in STATIONS[direction] if name in now)


def _by_rule(rule: Rule | None, direction: Direction, state: Sequence[Reading], opening: Opening) -> float | None:
    if rule is None:
        return None
    found = {r.name: r.length.exact for r in state}
    side = rule.of(direction)
    wanted = side.wanted(
        [found.get(name) for name in STATIONS[direction]], room_above(opening) if direction == "height" else None
    )
    chosen = None if wanted is None else side.made.chosen(wanted)
    return None if chosen is None else float(chosen)


def _decided_mm(decisions: Sequence[Decision], direction: Direction) -> tuple[float | None, str]:
    for decision in reversed(decisions):
        size = decision.width_mm if direction == "width" else decision.height_mm
        if decision.decision != "hold" and size is not None:
            return size, f"decisions.jsonl, line {decision.line}"
    return None, "job"


def _size_mm(size: Any, direction: Direction) -> float | None:  # noqa: ANN401 -- Size or None
    length = None if size is None else getattr(size, direction)
    return None if length is None else float(length.mm)


def _at_stations(answer: Estimate | None, direction: Direction) -> tuple[Array, Array] | None:
    if answer is None:
        return None
    at = [NINE.index(name) for name in STATIONS[direction]]
    # Stations of one photo are almost one figure: a hundredth of a mm keeps the matrix invertible.
    return answer.values_mm[at], answer.cov_mm2[np.ix_(at, at)] + 1e-4 * np.eye(3)
