"""A report form in plain words: its columns, units, refusals, and what of it was not verified."""

from __future__ import annotations

from ledger.rulebook.form_model import Form
from ledger.rulebook.telling import LEGEND, source_lines
from ledger.rulebook.telling_words import MARK
from ledger.values.rounding import exact_text


def tell_form(form: Form) -> list[str]:
    """Return the lines that ``rules show`` prints for a report form."""
    counts = f"{form.counts} are counted as applications"
    lines = [f"{form.title} ({form.id})", f"{form.path}, for {form.jurisdiction or 'any place'}"]
    doubtful = [source for source in form.sources if not source.read.decides]
    unsure = [code for code in form.codes if not code.read.decides]
    if doubtful or unsure or not form.counts_read.decides:
        lines.append(LEGEND)
    mark = "" if form.counts_read.decides else f"{MARK} "
    lines += ["", f"every {form.every}, per {form.per}; {mark}{counts} ({form.counts_read})"]
    lines += [f"{dimension} in {' or '.join(units)}" for dimension, units in form.units]
    if form.pounds_per_gallon is not None:
        lines.append(f"liquids in pounds by {exact_text(form.pounds_per_gallon)} lb per gallon")
    lines += ["", "Columns"]
    lines += [f"  - {column.heading}: {column.meaning}" for column in form.columns]
    if form.refusals:
        lines += ["", "What the regulator refuses"]
        lines += [f"  - {item.says} ({item.ref.source}; line {item.ref.line})"
                  for item in form.refusals]  # fmt: skip
    if form.codes:
        lines += ["", "Codes"]
        lines += [f"  - {'' if code.read.decides else f'{MARK} '}{code.of} is {code.code}"
                  for code in form.codes]  # fmt: skip
    if form.remarks:
        lines += ["", "Remarks", *(f"  - {remark}" for remark in form.remarks)]
    lines += ["", "Sources"]
    return lines + [f"  {line}" for source in form.sources for line in source_lines(source)]
