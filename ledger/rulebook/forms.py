"""A report form from its file (``rules/forms/*.toml``).

The grammar of a form file::

    format = 1
    checked_on = 2025-11-20            # a day, not text
    stale_after_months = 12            # optional

    [source.KEY]                       # as in every rule file; each used by the form or a remark
    title = "..."
    section = "..."
    link = "https://..."
    read = "read in the regulation text"
    read_on = 2025-11-20

    [form]
    id = "ca-monthly"                  # a slug; [[report]] of a jurisdiction names it
    title = "..."
    source = "KEY"
    jurisdiction = "us-ca"
    every = "month"                    # month | year
    per = "county"                     # county | state | person
    places = 4                         # decimal places of totals
    counts = "lines"                   # lines | visits: what is one application
    counts_read = "inferred, not verified"        # one of the six phrases of model.Read
    leave_out = ["minimum risk"]       # optional: restricted | general | minimum risk
    pounds_per_gallon = "8.33"         # optional, text
    round_pounds = 4                   # optional, decimal places of pounds
    signature = "..."                  # optional

    [units]                            # units the form allows, the first is the usual one
    mass = ["lb", "oz"]
    volume = ["gal", "qt", "pt", "fl oz"]

    [[column]]
    heading = "..."                    # as printed
    value = "total_used"               # one of grammar.FORM_VALUES
    meaning = "..."                    # one sentence for a reader
    unit = "lb"                        # optional: a unit code, for a column in one fixed unit
    places = 4                         # optional: decimal places of this column

    [[remark]]
    text = "..."
    source = "KEY"
"""

from __future__ import annotations

from ledger.rulebook import grammar
from ledger.rulebook.head import read_sources
from ledger.rulebook.model import Form, FormColumn, Read
from ledger.rulebook.part import Part
from ledger.values.product import ProductClass


def read_form(root: Part) -> Form | None:
    """Return the form of a file, or None where it has no ``[form]``."""
    sources = read_sources(root)
    part = root.part("form", grammar.TABLES["form.form"])
    columns, units, remarks = _columns(root), _units(root), _remarks(root)
    if part is None:
        return None
    part.source()
    counts_read = part.phrase("counts_read", tuple(Read))
    return Form(
        id=part.slug("id"),
        title=part.text("title"),
        path=root.page.path,
        digest=root.page.digest,
        jurisdiction=part.slug("jurisdiction"),
        every=part.phrase("every", grammar.EVERY),
        per=part.phrase("per", grammar.REPORT_PER),
        columns=columns,
        units=units,
        places=part.whole("places", 0, 9) or 0,
        counts=part.phrase("counts", ("lines", "visits")),
        counts_read=Read(counts_read or Read.MEMORY),
        leave_out=part.phrases("leave_out", tuple(ProductClass)),
        pounds_per_gallon=part.number("pounds_per_gallon"),
        round_pounds=part.whole("round_pounds", 0, 12),
        remarks=remarks,
        sources=sources,
        signature=part.text("signature"),
    )


def _columns(root: Part) -> tuple[FormColumn, ...]:
    """Return the columns in the order of the file; no heading may stand twice."""
    found: list[FormColumn] = []
    for part in root.parts("column"):
        heading = part.text("heading")
        if heading and heading in (column.heading for column in found):
            part.fault(
                "heading", "RULE-DUPLICATE", f'"{heading}" stands twice', "name it otherwise"
            )
        unit = part.text("unit")
        known = part.page.units.find(unit) if unit else None
        if unit and known is None:
            near = part.page.units.nearest(unit)
            way_out = f'did you mean "{near}"?' if near else "write a unit of units.toml"
            part.fault("unit", "RULE-UNIT", f'"{unit}" is not a known unit', way_out)
        found.append(
            FormColumn(
                heading,
                part.phrase("value", grammar.FORM_VALUES),
                part.text("meaning"),
                known.code if known else "",
                part.whole("places", 0, 9),
            )
        )
    return tuple(found)


def _units(root: Part) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return the units the form allows by dimension, in the order of the file."""
    part = root.part("units", grammar.TABLES["form.units"])
    if part is None:
        return ()
    if not part.table:
        part.fault("", "RULE-BLANK", "no unit is allowed", 'write mass = ["lb", "oz"]')
    found = []
    for dimension in part.table:
        texts = part.texts(dimension)
        quantities = [part.measured(dimension, f"1 {text}", dimension) for text in texts]
        found.append((dimension, tuple(item.unit for item in quantities if item)))
    return tuple(found)


def _remarks(root: Part) -> tuple[str, ...]:
    """Return the remarks, each with the source that it rests on."""
    found = []
    for part in root.parts("remark"):
        source = part.source()
        named = ", ".join(filter(None, (source.title, source.section))) if source else ""
        sure = "" if source is None or source.read.decides else "unverified: "
        found.append(f"{sure}{part.text('text')} [{named}]")
    return tuple(found)
