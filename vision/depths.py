"""How far the edges stand in front of the surface that carries the references: as given, or assumed and said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from vision.request import SIDES, OpeningRequest, Quantity, Side, Wall, Warning_

# contract: what is not given is not zero
DEFAULT_OFFSET: Mapping[Wall, Quantity] = {
    "masonry": Quantity(0.0, 2.0),
    "render": Quantity(0.0, 2.0),
    "siding": Quantity(15.0, 10.0),
    "panel": Quantity(15.0, 10.0),
}


@dataclass(frozen=True, slots=True, eq=False)
class EdgeDepths:
    """Depth z of each side (mm, into the wall), its standard uncertainty common to all and of each, warnings."""

    z_mm: Mapping[Side, float]
    u_common_mm: float
    u_each_mm: Mapping[Side, float]
    warnings: tuple[Warning_, ...] = ()


def edge_depths(request: OpeningRequest) -> EdgeDepths:
    """Return how deep the edges lie, as given or assumed by the contract, and what was assumed."""
    given = request.edge_offset
    default = DEFAULT_OFFSET[request.wall]
    if given is None:
        says = (
            "how far the trim stands out was not given: 15 mm +- 10 mm is assumed; "
            "measure it and enter it as edge offset"
            if request.wall in {"siding", "panel"}
            else "how far the edges stand out was not given: all are taken to lie in the wall's face, +- 2 mm; a sill "
            "that projects then seems lower than it is, so measure it and enter it as edge offset (0 where none does)"
        )
        warned = (Warning_("edge-depth-assumed", says),)
        return EdgeDepths(dict.fromkeys(SIDES, -default.value_mm), default.u_mm, dict.fromkeys(SIDES, 0.0), warned)
    quantity = {s: given.get(s, default) for s in SIDES}
    z = {s: -q.value_mm for s, q in quantity.items()}
    if len({(q.value_mm, q.u_mm) for q in quantity.values()}) == 1:
        return EdgeDepths(z, quantity["head"].u_mm, dict.fromkeys(SIDES, 0.0))
    return EdgeDepths(z, 0.0, {s: q.u_mm for s, q in quantity.items()})
