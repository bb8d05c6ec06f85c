"""From the chain of one direction to the observations and steps of a dispute, with their guessed rates."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np

from sizing.dispute.chain import STATIONS_OF, Trace
from sizing.dispute.slipmodel import Model, Step
from sizing.jobs.job import Opening, Reading
from sizing.tape import readings_cov_mm2, u_reading_mm
from vision.request import Array

# How a sound opening differs from its mean at the stations, in units of the noise of that name.
_FORMS: Mapping[str, Mapping[str, tuple[float, ...]]] = {
    "side": {"taper": (1.0, 0.0, -1.0), "bow": (0.0, 1.0, 0.0)},
    "diagonal": {"square": (1.0, -1.0)},
}


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
    A sound opening is a mean, a linear taper and a bow of the middle; readings and photos see it at the stations. Its
    two diagonals are a mean and by how much each is off it.
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
    for name, ends in _FORMS["diagonal" if trace.direction == "diagonal" else "side"].items():
        form = np.array(ends)[stations]
        cov += settings.noise_mm[name] ** 2 * np.outer(form, form)
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
        rows = tuple(STATIONS_OF[trace.direction].index(r.name) for r in found)
        values = np.array([r.length.mm for r in found])
        blocks.append(_Block(rows, values, _readings_cov(found, opening), slips))
    every = tuple(range(len(STATIONS_OF[trace.direction])))
    alike = np.ones((len(every), 1))
    if trace.before is not None:
        values, cov = trace.before
        blocks.append(_Block(every, values, cov, {"photo:before": (alike, True)}))
    if trace.after is not None:
        values, cov = trace.after
        again = settings.noise_mm["after"] ** 2 * (alike @ alike.T)
        changed = {"changed": (alike, False), "photo:after": (alike, True)}
        blocks.append(_Block(every, values, cov + again, changed))
    return blocks


def _readings_cov(found: Sequence[Reading], opening: Opening) -> Array:
    """Return the covariance of sound readings; those of different tapes by the coarsest of each."""
    lengths = np.array([r.length.mm for r in found])
    worst = max(found, key=lambda r: u_reading_mm(r.length.mm, r.tape, r.graduation_mm, opening.wall))
    return readings_cov_mm2(lengths, worst.tape, worst.graduation_mm, opening.wall)


def _difference(name: str, difference_mm: float, u_mm: float, settings: Settings) -> Model:
    step = Step(name, np.ones((1, 1)), settings.rate[name], settings.spread_mm[name])
    return Model(np.array([difference_mm]), np.array([[u_mm**2]]), np.zeros((1, 0)), (step,))
