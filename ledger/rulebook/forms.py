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
