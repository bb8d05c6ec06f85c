"""How far the edges stand in front of the surface that carries the references: as given, or assumed and said.

What the photos show of a sill that nothing was given of, see `vision.sill_projection`, counts as what is known of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from vision.request import SIDE_WORD, SIDES, Array, OpeningRequest, Quantity, Side, Wall, Warning_

# contract: what is not given is not zero
DEFAULT_OFFSET: Mapping[Wall, Quantity] = {
    "masonry": Quantity(0.0, 2.0),
    "render": Quantity(0.0, 2.0),
    "siding": Quantity(15.0, 10.0),
    "panel": Quantity(15.0, 10.0),
}
U_GIVEN_MM = 1.0  # contract: an offset that is given is good to that


@dataclass(frozen=True, slots=True, eq=False)
class EdgeDepths:
    """Depth z of each side (mm, into the wall), covariance (4, 4) mm2 of these in the order of `SIDES`, warnings.

    `assumed` are the sides of which nothing was given.
    """

    z_mm: Mapping[Side, float]
    cov_mm2: Array
    assumed: tuple[Side, ...] = ()
    warnings: tuple[Warning_, ...] = ()


def edge_depths(request: OpeningRequest) -> EdgeDepths:
    """Return how deep the edges lie, as given or assumed by the contract, and what was assumed.

    Notes
    -----
    What is assumed is one guess, so it is wrong by one error on all sides that it stands for; so is one length given
    for all. Lengths given side by side err each by itself.
    """
    given, default = request.edge_offset or {}, DEFAULT_OFFSET[request.wall]
    assumed = tuple(s for s in SIDES if s not in given)
    quantity = [given.get(s, default) for s in SIDES]
    u = np.array([q.u_mm for q in quantity])
    out = request.sill_out if "sill" in assumed else None
    guessed = np.array([s in assumed for s in SIDES])
    one_length = not assumed and len({(q.value_mm, q.u_mm) for q in quantity}) == 1
    together = np.ones((4, 4)) if one_length else np.where(np.outer(guessed, guessed), 1.0, np.eye(4))
    z = {s: -q.value_mm for s, q in zip(SIDES, quantity, strict=True)}
    cov = np.outer(u, u) * together
    if out is not None:  # from the plane that was assumed
        z["sill"] -= out.value_mm
        cov[SIDES.index("sill"), SIDES.index("sill")] += out.u_mm**2
    return EdgeDepths(z, cov, assumed, _said(request.wall, assumed, out))


def once_given(request: OpeningRequest) -> EdgeDepths:
    """Return the depths as they would be known if the sides assumed were given, as they are assumed to be."""
    z_mm, given = edge_depths(request).z_mm, dict(request.edge_offset or {})
    return edge_depths(replace(request, edge_offset={s: given.get(s, Quantity(-z_mm[s], U_GIVEN_MM)) for s in SIDES}))


def with_sill_out(request: OpeningRequest, seen: Iterable[Quantity | None]) -> OpeningRequest:
    """Return the request with how far the sill stands out by the photo that shows it best, None by none."""
    return replace(request, sill_out=min((q for q in seen if q is not None), key=lambda q: q.u_mm, default=None))


def _said(wall: Wall, assumed: tuple[Side, ...], out: Quantity | None) -> tuple[Warning_, ...]:
    """Return the warning that names what was assumed of which sides; none where all were given."""
    if not assumed:
        return ()
    if out is not None:
        others = ", with the other edges in the wall's face, +- 2 mm" if len(assumed) > 1 else ""
        says = (
            f"how far the sill stands out was not given: the photo shows {round(out.value_mm)} mm +- "
            f"{2 * out.u_mm:.0f} mm, and that is used{others}; measure it and enter it as edge offset"
        )
        return (Warning_("edge-depth-assumed", says),)
    words = [f"the {SIDE_WORD[s]}" for s in assumed]
    some = words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
    stand = "stands" if len(words) == 1 else "stand"
    trimmed, every = wall in {"siding", "panel"}, len(assumed) == len(SIDES)
    if trimmed:
        what = "how far the trim stands out was not given" if every else f"how far {some} {stand} out was not given"
        says = f"{what}: 15 mm +- 10 mm is assumed; measure it and enter it as edge offset"
    elif every:
        says = (
            "how far the edges stand out was not given: all are taken to lie in the wall's face, +- 2 mm; a sill "
            "that projects then seems lower than it is, so measure it and enter it as edge offset (0 where none does)"
        )
    else:
        says = (
            f"how far {some} {stand} out was not given: the wall's face, +- 2 mm, is assumed; measure it and enter it "
            "as edge offset (0 where it does not stand out)"
        )
    return (Warning_("edge-depth-assumed", says),)
