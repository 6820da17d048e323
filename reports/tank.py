"""The plan of several products in one tank, as a page and as plain values."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ledger.preparing.plan import ALLOWED
from ledger.preparing.tank import Tank
from reports.plan import (
    Page,
    job_lines,
    most_values,
    parts,
    plan_values,
    product_lines,
    quantity_values,
    said_values,
)


def tank_page(tank: Tank, labels: Sequence[str]) -> Page:
    """Return the page of a tank; ``labels`` say which version of each label was read."""
    products = [
        pair
        for plan, label in zip(tank.plans, labels, strict=True)
        for pair in product_lines(plan, label)
    ]
    job = job_lines(tank.plans[0])
    return Page(tank.verdict, (*products, *job, ("Tank", tank.mark)), parts(tank))


def tank_values(tank: Tank, labels: Sequence[str]) -> dict[str, Any]:
    """Return the tank as plain values for JSON: what holds for all of it, then each product."""
    return {
        "verdict": tank.verdict,
        "allowed": tank.verdict == ALLOWED,
        "mix": tank.mark,
        "finished": quantity_values(tank.finished),
        "most": most_values(tank.most),
        "refused": said_values(tank.refused),
        "cannot_tell": said_values(tank.open),
        "together": said_values(dict(tank.sections)["Together"]),
        "products": [
            {**plan_values(plan, label), "dilution": plan.use.dilution.text}
            for plan, label in zip(tank.plans, labels, strict=True)
            if plan.use.dilution is not None
        ],
    }
