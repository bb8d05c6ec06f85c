"""The warning of one opening's joint test: where the tests of all readings say more than each by itself."""

from __future__ import annotations

from collections.abc import Collection

from sizing.crosscheck.consistency import CrossCheck
from sizing.messages import crosscheck as messages
from sizing.units import Unit
from vision.request import Warning_


def warnings_of(
    check: CrossCheck | None, differing: Collection[str], units: Unit, others: CrossCheck | None = None
) -> tuple[Warning_, ...]:
    """Return the warning (`joint-test`) where the tests say more than the verdicts of the readings do.

    Parameters
    ----------
    check : the tests of one opening.
    differing : readings that the photo says differ: of them nothing more is said.
    units : what people are shown.
    others : the tests without those that differ; of several readings wrong by one cause the snooping of all says that
        the photo is, whose scale or side explains them at once.
    """
    if check is None:
        return ()
    if check.edge is not None:
        return (Warning_("joint-test", messages.fits_other_edge(check.edge.side, check.edge.shift_mm, units)),)
    if differing:
        if others is None or not others.snooped.rejected:
            return ()
        check = others
    found = check.snooped
    groups = [outlier.group for outlier in found.outliers]
    # Without a photo a failing test is the verdict, and names the group, unless a reading differs.
    if groups and (check.with_photo or differing or not found.rejected):
        says = messages.outliers_found(groups, with_photo=check.with_photo, besides=bool(differing))
        return (Warning_("joint-test", says),)
    if check.with_photo and found.rejected and not groups:
        return (Warning_("joint-test", messages.nothing_stands_out(besides=bool(differing))),)
    return ()


def standing_out(check: CrossCheck | None) -> frozenset[str]:
    """Return the readings that stand out when all are tested together with a photo, nothing where its edge explains it.

    A photo too vague to tell any length may know well by how much one width is longer than the others.
    """
    if check is None or check.edge is not None or not check.with_photo:
        return frozenset()
    return frozenset(name for o in check.snooped.outliers for name in o.group)
