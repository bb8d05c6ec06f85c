"""How far the edges stand in front of the surface that carries the references: as given, or assumed and said."""

from __future__ import annotations

from collections.abc import Mapping

from vision.request import SIDES, OpeningRequest, Quantity, Side, Wall, Warning_

# contract: what is not given is not zero
DEFAULT_OFFSET: Mapping[Wall, Quantity] = {
    "masonry": Quantity(0.0, 2.0),
    "render": Quantity(0.0, 2.0),
    "siding": Quantity(15.0, 10.0),
    "panel": Quantity(15.0, 10.0),
}


def edge_depths(request: OpeningRequest) -> tuple[dict[Side, float], float, dict[Side, float], list[Warning_]]:
    """Return edge offsets by side, the common and the single standard uncertainty, and what was assumed."""
    given = request.edge_offset
    if given is None:
        q = DEFAULT_OFFSET[request.wall]
        warned = []
        if request.wall in {"siding", "panel"}:
            says = (
                "how far the trim stands out was not given: 15 mm +- 10 mm is assumed; "
                "measure it and enter it as edge offset"
            )
            warned.append(Warning_("edge-depth-assumed", says))
        return dict.fromkeys(SIDES, q.value_mm), q.u_mm, dict.fromkeys(SIDES, 0.0), warned
    default = DEFAULT_OFFSET[request.wall]
    quantity = {s: given.get(s, default) for s in SIDES}
    if len({(q.value_mm, q.u_mm) for q in quantity.values()}) == 1:
        return (
            {s: q.value_mm for s, q in quantity.items()},
            quantity["head"].u_mm,
            dict.fromkeys(SIDES, 0.0),
            [],
        )
    return {s: q.value_mm for s, q in quantity.items()}, 0.0, {s: q.u_mm for s, q in quantity.items()}, []
