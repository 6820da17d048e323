"""The size of what was treated: rooms, heights, bands, patches, spacing, share of a surface."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from ledger.checks.case import Case
from ledger.checks.say import Tools, below, finding, over, plain, said, under
from ledger.rulebook.model import Limit
from ledger.values.amount import Quantity
from ledger.values.finding import Finding, Kind

_ADJECTIVE = {"height": "high", "width": "wide", "depth": "deep", "patch area": "each",
              "distance out": "out"}  # fmt: skip
_WRITE = {"patch area": "2 sq ft each"}


def check_enclosure(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the size of a room by its floor or its space: it must exceed what the rule names."""
    if limit.least is None:
        return
    if limit.measure == "volume":
        yield from _space(case, limit, tools)
        return
    if limit.per is None:
        return
    size = f"{said(limit.least)} by {said(limit.per)}"
    sides = [case.use.extent.get(name) for name in (limit.measure, limit.per_what)]
    feet = [None if side is None else tools.into(side, "ft") for side in sides]
    bounds = [tools.into(limit.least, "ft"), tools.into(limit.per, "ft")]
    one, two = feet
    if one is None or two is None or bounds[0] is None or bounds[1] is None:
        text = f"cannot tell whether the room is larger than {size}: its sides are not given"
        way_out = 'amend the extent, as "10 ft by 12 ft room"'
        yield finding(limit, tools, Kind.UNKNOWN, text, "extent", way_out)
    elif under(one * two, bounds[0] * bounds[1], limit.inclusive):
        room = " by ".join(said(side) for side in sides if side is not None)
        text = f"a room of {room}; {tools.authority} asks for more than {size}"
        yield finding(limit, tools, Kind.BREACH, text, "extent")


def _space(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    least, space = limit.least, case.use.extent.get("volume")
    if least is None:
        return
    value = None if space is None else tools.into(space, least.unit)
    if space is None or value is None:
        text = f"cannot tell whether the room holds more than {said(least)}: it is not given"
        yield finding(
            limit, tools, Kind.UNKNOWN, text, "extent", 'amend the extent, as "960 cu ft"'
        )
    elif under(value, least.value, limit.inclusive):
        text = f"a room of {said(space)}; {tools.authority} asks for more than {said(least)}"
        yield finding(limit, tools, Kind.BREACH, text, "extent")


def check_geometry(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge the height, width or depth of what was treated, a patch, or how far out it went.

    Without the area of each spot, the area by their number is an average: it proves that one
    spot is too large, and never that none is.
    """
    measure, averaged = _measure(case, limit)
    for bound, is_most in ((limit.most, True), (limit.least, False)):
        if bound is None:
            continue
        value = None if measure is None else tools.into(measure, bound.unit)
        broken = value is not None and (over if is_most else under)(
            value, bound.value, limit.inclusive
        )
        if measure is None or value is None or (averaged and not broken):
            text = f"cannot tell the {limit.measure}: the extent does not say it"
            write = _WRITE.get(limit.measure, f"3 ft {_ADJECTIVE[limit.measure]}")
            yield finding(
                limit, tools, Kind.UNKNOWN, text, "extent", f'amend the extent, as "{write}"'
            )
            return
        if broken:
            allows = f"{tools.authority} {'allows' if is_most else 'names at least'}"
            on_average = " on average" if averaged else ""
            text = (
                f"{said(measure)} {_ADJECTIVE[limit.measure]}{on_average}, {allows} {said(bound)}"
            )
            yield finding(limit, tools, Kind.BREACH if is_most else below(limit), text, "extent")


def _measure(case: Case, limit: Limit) -> tuple[Quantity | None, bool]:
    """Return the measure, and whether it is only an average of several."""
    extent = case.use.extent
    measure = extent.get(limit.measure)
    if measure is not None or limit.measure != "patch area":
        return measure, False
    area, spots = extent.get("area"), extent.get("spots")
    if area is None or spots is None or spots.value < 1:
        return None, False
    return Quantity(area.value / spots.value, area.unit), spots.value > 1


def check_spacing(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge how far apart placements stand.

    Where the line says only their number and the length along which they stand, one pair is no
    farther apart than an even spacing: that proves a spacing too close, and never a good one.
    """
    spacing = case.use.extent.get("spacing")
    if spacing is not None:
        yield from _apart(spacing, limit, tools)
        return
    even = _even(case)
    if even is not None and limit.least is not None:
        value = tools.into(even, limit.least.unit)
        if value is not None and under(value, limit.least.value, limit.inclusive):
            text = f"{said(even)} apart at most, {tools.authority} names at least"
            yield finding(limit, tools, Kind.BREACH, f"{text} {said(limit.least)}", "extent")
            return
    text = "cannot tell how far apart the placements stand: the extent does not say it"
    yield finding(limit, tools, Kind.UNKNOWN, text, "extent", 'amend the extent, as "8 ft apart"')


def _even(case: Case) -> Quantity | None:
    """Return the widest even spacing of the placements along the length."""
    count, length = case.use.extent.get("placements"), case.use.extent.get("length")
    if count is None or length is None or count.value < 2:
        return None
    return Quantity(length.value / (count.value - 1), length.unit)


def _apart(spacing: Quantity, limit: Limit, tools: Tools) -> Iterator[Finding]:
    for bound, broken, allows in (
        (limit.most, over, "allows"), (limit.least, under, "names at least"),
    ):  # fmt: skip
        value = None if bound is None else tools.into(spacing, bound.unit)
        if bound is not None and value is not None and broken(value, bound.value, limit.inclusive):
            text = f"{said(spacing)} apart, {tools.authority} {allows} {said(bound)}"
            yield finding(limit, tools, Kind.BREACH, text, "extent")


def check_share(case: Case, limit: Limit, tools: Tools) -> Iterator[Finding]:
    """Judge how much of a surface was treated: the area treated against the total area."""
    if limit.most is None:
        return
    area = case.use.extent.get("area") or _patches(case)
    total = case.use.extent.get("total area")
    treated = None if area is None or total is None else tools.into(area, total.unit)
    if treated is None or total is None or total.value <= 0:
        lacking = "the area treated" if total is not None else "the total area of the surface"
        text = f"cannot tell what share of the surface was treated: {lacking} is not given"
        way_out = 'amend the extent, as "40 sq ft; 400 sq ft total"'
        yield finding(limit, tools, Kind.UNKNOWN, text, "extent", way_out)
        return
    share = Quantity(treated / total.value * 100, "%")
    value = tools.into(share, limit.most.unit)
    if value is not None and over(value, limit.most.value, limit.inclusive):
        text = f"{plain(share.value)} % of the surface, {tools.authority} allows {said(limit.most)}"
        yield finding(limit, tools, Kind.BREACH, text, "extent")


def _patches(case: Case) -> Quantity | None:
    """Return the area of all spots, where each has the area that the line says."""
    patch, spots = case.use.extent.get("patch area"), case.use.extent.get("spots")
    if patch is None or spots is None:
        return None
    return Quantity(Fraction(patch.value) * spots.value, patch.unit)
