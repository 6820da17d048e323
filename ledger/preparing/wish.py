"""A wish that can be read: its product, the rules over it, and what the ledger adds to it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from ledger.normalise.addresses import read_address
from ledger.preparing.rules_here import Here, rules_over
from ledger.preparing.stage import PROBE, WISH, Said, Stage
from ledger.values.entry import Application
from ledger.values.finding import Fault
from ledger.values.origin import Origin
from ledger.values.product import Product


@dataclass(frozen=True, slots=True)
class Wish:
    """A job that can be read.

    ``first`` is its line at some small amount, ``rules`` every limit that applies to it or may.
    """

    stage: Stage
    first: Application
    product: Product
    rules: tuple[Here, ...]


_TRIED = {"amount": PROBE, "basis": "product", "dilution": ""}


def wish_of(stage: Stage) -> Wish | tuple[Fault, ...]:
    """Return the wish of a stage, or the faults for which it cannot be read at all.

    Blank cells that the records of a known site answer are filled in on the stage.
    """
    own = frozenset(name for name, text in stage.cells.items() if text)
    _county_of_known(stage)
    read = stage.read(**_TRIED)
    if read.application is None:
        return read.faults
    use = read.application
    if fill(stage, use, own):
        use = stage.read(**_TRIED).application or use
    product = stage.case(use).product
    if product is None:
        return _unread(use.product_name)
    return Wish(stage, use, product, rules_over(stage, use))


def _unread(name: str) -> tuple[Fault, ...]:
    what = f"the label file of {name} cannot be read, so nothing can be said before the job"
    way_out = "mend it: `useledger rules check` names its faults; read the label in hand"
    return (Fault("LABEL-CANNOT-TELL", Origin(WISH, None, "product"), what, way_out),)


# --- what the ledger knows of the site ---------------------------------------------------------

_KEPT: tuple[tuple[str, Callable[[Application], str]], ...] = (
    ("customer", lambda use: use.customer),
    ("customer address", lambda use: use.customer_address),
    ("site kind", lambda use: use.site_kind),
)
"""What is the same from visit to visit, by its heading: never a place, a pest or an answer."""


AGAIN = "again"
"""The cell of a wish that asks for the same work as last time."""

_SAME: tuple[tuple[str, Callable[[Application], str]], ...] = (
    ("method", lambda use: use.method),
    ("setting", lambda use: use.setting),
    ("places", lambda use: "; ".join(use.places)),
    ("pests", lambda use: "; ".join(use.pests)),
    ("extent", lambda use: use.extent.text),
    ("equipment", lambda use: use.equipment),
)
"""What is taken only where the wish asks for the same as last time: the work itself. What was
avoided, prepared or found in the air that day is asked anew."""


def fill(stage: Stage, use: Application, own: frozenset[str]) -> bool:
    """Fill blank cells from what was recorded at the site, and say so; return whether any was.

    ``own`` are the headings that the wish itself answers. Of the others the newest record up to
    the day of the job answers that says it. An owner's address belongs to its customer: it is not
    taken where another customer is named.
    """
    past = sorted(
        (other for other in stage.others if other.date <= use.date),
        key=lambda other: (other.date, str(other.start)), reverse=True,
    )  # fmt: skip
    other_customer = bool(stage.cells.get("customer"))
    found = _as_last(stage, use, past)
    for heading, told in _KEPT:
        if told(use) or (heading == "customer address" and other_customer):
            continue
        newest = next((other for other in past if told(other)), None)
        if newest is not None:
            found[heading] = (told(newest), newest)
    stage.cells = {**stage.cells, **{heading: text for heading, (text, _) in found.items()}}
    none = Said("nothing like it was done here before: --again takes nothing", ("the ledger",))
    lacking = stage.cells.get(AGAIN) and not any(name in found for name, _ in _SAME)
    stage.filled = (
        *((none,) if lacking else ()),
        *_taken(found),
        *_known_of(stage, use, own | found.keys()),
        *_avoided(past),
    )
    return bool(found)


def _as_last(
    stage: Stage, use: Application, past: list[Application]
) -> dict[str, tuple[str, Application]]:
    """Return the blank cells that the last work with the product here answers, if asked for.

    The last work is the newest that agrees with what the wish itself says of it.
    """
    if not stage.cells.get(AGAIN):
        return {}
    said = [told for _, told in _SAME if told(use)]
    alike = (other for other in past if all(told(other) == told(use) for told in said))
    last = next((other for other in alike if other.product_key == use.product_key), None)
    if last is None:
        return {}
    return {name: (told(last), last) for name, told in _SAME if told(last) and not told(use)}


def _county_of_known(stage: Stage) -> None:
    """Fill in the county of an address that the ledger knows: nobody needs to say it twice."""
    if stage.cells.get("county") or stage.cells.get("site"):
        return
    address = read_address(stage.draft()).value
    site = stage.known_at(address) if address is not None else None
    if site is not None and site.county:
        stage.cells = {**stage.cells, "county": site.county}


def _taken(found: dict[str, tuple[str, Application]]) -> Iterator[Said]:
    for heading, (text, newest) in found.items():
        option = f"--{heading.replace(' ', '-')} says another"
        line = f"{heading}: {text}, as recorded here on {newest.date} ({option})"
        yield Said(line, ("the ledger",))


def _known_of(stage: Stage, use: Application, own: frozenset[str]) -> Iterator[Said]:
    """Say which facts came with the site itself, where the wish left them out."""
    known = {"county": use.county, "site kind": use.site_kind}
    told = [f"{name} {text}" for name, text in known.items() if text and name not in own]
    if told and stage.others:
        yield Said(f"{', '.join(told)}: as the ledger knows this site", ("the ledger",))


def _avoided(past: list[Application]) -> Iterator[Said]:
    """Say what was left alone here the last time that anything was: look whether it is there."""
    last = next((other for other in past if other.avoided), None)
    if last is not None:
        items = "; ".join(
            f"{item.place} ({item.reason})" if item.reason else item.place for item in last.avoided
        )
        text = f"left alone here on {last.date}: {items}; look whether it is still so"
        yield Said(text, ("the ledger",))
