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
    grain = "application"              # total (the default) | group | application | person
    writes = "pipe"                    # table (the default) | pipe: also a file for a regulator
    prefix = "26"                      # optional: what the name of that file begins with
    only_site_kind = ["school"]        # optional: words of words.toml; other places stay out
    beside = ["us-ny-people"]          # optional: forms that are handed in with this one

    [units]                            # units the form allows, the first is the usual one
    mass = ["lb", "oz"]
    volume = ["gal", "qt", "pt", "fl oz"]

    [[column]]
    heading = "..."                    # as printed
    value = "total_used"               # of form_words.VALUES_OF, by the grain
    meaning = "..."                    # one sentence for a reader
    unit = "lb"                        # optional: a unit code, for a column in one fixed unit
    places = 4                         # optional: decimal places of this column
    written = "mm/dd/yyyy"             # optional: how a day is written (else YYYY-MM-DD)
    if_applied = true                  # optional: left empty for a person without applications

    [[refuse]]                         # what the regulator does not take in a column
    value = "address"
    longest = 50                       # characters; or
    when = "post office box"           # one of form_words.REFUSE_WHEN
    source = "KEY"
    says = "..."

    [[code]]                           # how the form's file says a text of the ledger
    value = "unit"
    of = "oz"
    is = "OZ"
    source = "KEY"

    [[remark]]
    text = "..."
    source = "KEY"
"""

from __future__ import annotations

from ledger.rulebook import form_words, grammar
from ledger.rulebook.form_model import Form, FormCode, FormColumn, Refusal
from ledger.rulebook.head import read_sources
from ledger.rulebook.model import Read
from ledger.rulebook.part import Part
from ledger.values.product import ProductClass


def read_form(root: Part) -> Form | None:
    """Return the form of a file, or None where it has no ``[form]``."""
    sources = read_sources(root)
    part = root.part("form", form_words.FORM_KEYS["form.form"])
    grain = part.phrase("grain", form_words.GRAINS, "total") if part else "total"
    columns, units, remarks = _columns(root, grain), _units(root), _remarks(root)
    refusals, codes = _refusals(root), _codes(root)
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
        grain=grain,
        writes=part.phrase("writes", form_words.WRITES, "table"),
        only_site_kinds=part.words("only_site_kind", "site_kind"),
        beside=part.texts("beside"),
        prefix=part.slug("prefix"),
        refusals=refusals,
        codes=codes,
    )


def _refuse_strange(part: Part, value: str, grain: str) -> None:
    """Keep a fault for a column that a line of this grain cannot tell."""
    if value and value not in form_words.VALUES_OF.get(grain, form_words.FORM_VALUES):
        tell = [name for name, values in form_words.VALUES_OF.items() if value in values]
        what = f"a line of grain {grain} has no single {value}"
        part.fault("value", "RULE-GRAIN", what, f'write grain = "{tell[0]}" in [form], or take out')


def _refusals(root: Part) -> tuple[Refusal, ...]:
    """Return what the regulator refuses; each says one thing, a shape or a length."""
    found = []
    for part in root.parts("refuse", form_words.FORM_KEYS["refuse"]):
        if part.means("when") == part.means("longest"):
            way_out = 'write longest = 50, or when = "blank"'
            part.fault("", "RULE-BOUND", "one of when and longest is wanted", way_out)
        source = part.source()
        found.append(
            Refusal(
                part.phrase("value", form_words.FORM_VALUES),
                part.phrase("when", form_words.REFUSE_WHEN),
                part.whole("longest", 1, 1000),
                part.text("says"),
                part.ref(source),
            )
        )
    return tuple(found)


def _codes(root: Part) -> tuple[FormCode, ...]:
    """Return the codes of the form's file; no text of a value has two."""
    found: list[FormCode] = []
    for part in root.parts("code", form_words.FORM_KEYS["code"]):
        source = part.source()
        value, of = part.phrase("value", form_words.CODE_VALUES), part.text("of")
        if of and any((code.value, code.of) == (value, of) for code in found):
            part.fault("of", "RULE-DUPLICATE", f'"{of}" has two codes', "keep one of them")
        read = source.read if source else Read.MEMORY
        found.append(FormCode(value, of, part.text("is"), read))
    return tuple(found)


_COLUMN = form_words.FORM_KEYS["column"]


def _columns(root: Part, grain: str) -> tuple[FormColumn, ...]:
    """Return the columns in the order of the file; no heading may stand twice."""
    found: list[FormColumn] = []
    for part in root.parts("column", _COLUMN):
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
        value = part.phrase("value", form_words.FORM_VALUES)
        _refuse_strange(part, value, grain)
        found.append(
            FormColumn(
                heading,
                value,
                part.text("meaning"),
                known.code if known else "",
                part.whole("places", 0, 9),
                part.phrase("written", form_words.WRITTEN),
                part.flag("if_applied", default=False),
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
