"""The closed tables of the rule files: which keys stand where, which words a key may hold.

How each shape of limit becomes a :class:`~ledger.rulebook.model.Limit` (checks read it so):

* ``rate`` ``most``/``least`` in mass or volume, ``per`` 100 ft / "length", 1000 sq ft / "area",
  1000 cu ft / "volume", 10 each / "voids" ..., ``basis``.
* ``count`` ``measure`` placements, cans or spots; ``most`` n each; ``per`` 1 each / "dwellings".
* ``strength`` ``most``/``least`` with ``per`` 1 gal / "mix" (basis product), or ``most``/``least``
  in ``%`` and no ``per`` (basis ai for "% ai", product for "% product").
* ``enclosure`` ``measure`` "room length" with ``least`` 5 ft, ``per_what`` "room width" with
  ``per`` 5 ft, ``inclusive`` false: the room must exceed this size.
* ``geometry`` ``measure`` height, width or depth; ``most``/``least`` a length.
* ``interval`` ``least`` a time; ``same`` place or address.
* ``visits`` ``most`` n each; ``within``; ``same``; ``measure`` visits or lines.
* ``weather`` ``measure`` wind, temperature (``most``/``least``) or rain (``expects``).
* ``buffer`` ``words`` = (trait,); ``least`` a length.
* ``keep_off`` ``words`` = traits. ``prepare`` ``words`` = preparations. ``prohibited`` ``words`` =
  ingredients. ``ask`` ``words`` = (subject,). ``supervision`` ``words`` = (phrase,).
* ``allowed`` ``allowed`` = pairs of heading (site_kind, setting, method, pest, equipment, nozzle,
  pressure) and words; ``prohibited`` has such pairs too, and ``traits`` of places.
* ``spacing`` ``most``/``least`` a length. ``share`` ``most`` in ``%``.
* ``total`` ``most`` a mass or volume, ``per`` as in a rate, ``within``, ``same``, ``across``;
  ``words`` = the ingredients that are summed (none: those of the product).
* ``state`` ``words`` = states that allow it, ``allowed`` = (("bad", states that forbid it),).
* ``reentry`` ``words`` = conditions, ``lasting`` a time. ``protection`` ``measure`` = the task,
  ``words`` = what is worn. ``dates`` ``days`` and ``lots``. ``food_areas`` ``rows``.
* ``combination`` ``most`` n each products in one tank, ``words`` = ingredients never with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ledger.rulebook.model import Shape
from ledger.values.draft import APPLICATION_HEADINGS


@dataclass(frozen=True, slots=True)
class Keys:
    """The keys one table may have, and those it must have."""

    needed: tuple[str, ...]
    other: tuple[str, ...] = ()
    allowed: tuple[str, ...] = field(init=False, repr=False, compare=False)
    """Every key once, the needed ones first."""

    def __post_init__(self) -> None:
        allowed = tuple(dict.fromkeys((*self.needed, *self.other)))
        object.__setattr__(self, "allowed", allowed)


FAMILIES = ("units", "words", "label", "jurisdiction", "practice", "form", "firm", "stray")
"""The families of files in the order in which they are read and their faults are shown."""

LABEL_FLAGS = (
    "reentry_interval", "ventilation_period", "rate_per_area", "measure_named", "drift_caution",
    "adjuvant_required",
)  # fmt: skip
"""What laws ask of a label, as true or false of ``[product]``; left out, it cannot be told."""

_HEAD = ("format", "id", "title", "checked_on")
_SPAN = ("from", "until", "planned")
_RULES = ("source", "limit", "unread", "example")

TABLES: Mapping[str, Keys] = {
    "label": Keys(
        (*_HEAD, "product", "ingredient", "source"),
        ("stale_after_months", "version", *_SPAN, "limit", "unread", "example"),
    ),
    "jurisdiction": Keys(
        _HEAD,
        (
            "stale_after_months", "state", "time_zone", "county", "site_codes", "require",
            "deadline", "retention", "report", "paper", "incident", "dormant", *_RULES,
        ),
    ),
    "practice": Keys(_HEAD, ("stale_after_months", "require", *_RULES)),
    "form": Keys(
        ("format", "checked_on", "form", "units", "column", "source"),
        ("stale_after_months", "remark"),
    ),
    "source": Keys(("title", "read"), ("section", "link", "read_on", "note")),
    "product": Keys(
        ("name", "formulation", "class", "used"),
        (
            "registration", "exemption", "specific_gravity", "ai_per_gallon", "signal_word", "lots",
            "lasts", "lasts_source", "source", *LABEL_FLAGS,
        ),
    ),
    "ingredient": Keys(("name", "per_cent"), ("cas", "group", "synergist")),
    "row": Keys(("area", "operation"), ("method",)),
    "value": Keys(("from", "source"), ("most", "least", "per", "more_than", "ended", "planned")),
    "county": Keys(("name", "number")),
    "require": Keys(
        ("name", "source", "says"),
        (
            "field", "any_of", "elsewhere", "words", "units", "longest", "refused", "not_as",
            *_SPAN, "blocks", "supersedes", "when",
        ),
    ),
    "deadline": Keys(
        ("name", "what", "within", "source"),
        ("about", "counted_from", "who", "to", "grace", *_SPAN, "supersedes", "when"),
    ),
    "retention": Keys(
        ("name", "years", "counted_from", "source"),
        ("about", "of", "says", *_SPAN, "supersedes", "when"),
    ),
    "paper": Keys(
        ("name", "at", "to", "says", "source"),
        ("fields", "within", "statement", "waiver", "electronic", *_SPAN, "when"),
    ),
    "incident": Keys(
        ("name", "what", "to", "says", "source"), ("within", "more_than", "how", *_SPAN)
    ),
    "dormant": Keys(("section", "why", "says", "source")),
    "report": Keys(
        ("name", "form", "every", "per", "nil", "source"),
        ("due_day", "due_month", "due_rule", "due", "postmark", *_SPAN),
    ),
    "unread": Keys(("section", "note"), ("source",)),
    "example": Keys(
        ("name", "line", "expect"),
        (
            "before", "recorded", "work", "papers", "kept_until", "filed", "posted",
            "site_in_doubt",
        ),
    ),
    "form.form": Keys(
        (
            "id", "title", "source", "jurisdiction", "every", "per", "places", "counts",
            "counts_read",
        ),
        ("leave_out", "pounds_per_gallon", "round_pounds", "signature"),
    ),
    "form.units": Keys((), ("mass", "volume")),
    "column": Keys(("heading", "value", "meaning"), ("unit", "places")),
    "remark": Keys(("text", "source")),
    "word": Keys(("name",), ("also", "traits")),
    "useledger": Keys(("firm",), ("database", "registration", "person", "tool", "statement")),
    "firm": Keys(
        (
            "name", "licence", "address", "city", "state", "zip", "home", "time_zone",
            "date_order", "ratio", "work",
        ),
        ("telephone", "keeps"),
    ),
    "registration": Keys(("jurisdiction", "county", "year")),
    "statement": Keys(("jurisdiction", "words", "compared_on"), ("county",)),
    "person": Keys(("key", "name"), ("licensee", "supervisor", "licence")),
    "licence": Keys(
        ("number", "title", "jurisdiction", "work", "level", "from", "to"), ("restricted",)
    ),
    "tool": Keys(("key", "kind"), ("empty", "holds", "nozzle", "pressure", "calibration")),
    "calibration": Keys(("on", "product", "gives", "per")),
}  # fmt: skip
"""Keys of every table, by the kind of table."""

LIMIT_HEAD = ("name", "shape", "source", "says")
LIMIT_COMMON = (*LIMIT_HEAD, *_SPAN, "mandatory", "inclusive", "when")
DATED_KEYS = ("most", "least", "per", "more_than")
"""What a limit says itself, or each of its dated ``[[limit.value]]`` tables instead."""

SHAPES: Mapping[Shape, Keys] = {
    Shape.RATE: Keys(("per",), ("most", "least", "basis", "of", "and_per", "below", "value")),
    Shape.COUNT: Keys(("measure", "per"), ("most", "least", "below", "value")),
    Shape.STRENGTH: Keys((), ("most", "least", "per", "below", "value")),
    Shape.ENCLOSURE: Keys(("more_than",), ("value",)),
    Shape.GEOMETRY: Keys(("measure",), ("most", "least", "below", "value")),
    Shape.SPACING: Keys((), ("most", "least", "value")),
    Shape.SHARE: Keys(("most",), ("value",)),
    Shape.INTERVAL: Keys(("same",), ("least", "most", "across", "counting", "value")),
    Shape.VISITS: Keys(
        ("most", "within", "same", "counts"), ("across", "season_from", "season_to", "value")
    ),
    Shape.TOTAL: Keys(
        ("most", "within", "same"),
        (
            "basis", "per", "of", "across", "ingredients", "season_from", "season_to", "value",
        ),
    ),
    Shape.WEATHER: Keys(("measure",), ("most", "least", "expects", "value")),
    Shape.STATE: Keys(("good", "bad")),
    Shape.BUFFER: Keys(("from_trait", "least"), ("value",)),
    Shape.KEEP_OFF: Keys(("traits",)),
    Shape.PREPARE: Keys(("done",), ("step", "who", "lasting")),
    Shape.REENTRY: Keys((), ("conditions", "lasting")),
    Shape.PROTECTION: Keys(("task", "items")),
    Shape.ALLOWED: Keys(
        (), ("site_kind", "setting", "method", "pest", "equipment", "nozzle", "pressure")
    ),
    Shape.SUPERVISION: Keys(("certified",), ("category", "on_site")),
    Shape.DATES: Keys((), ("first_day", "last_day", "lots")),
    Shape.FOOD_AREAS: Keys(("row",)),
    Shape.COMBINATION: Keys((), ("most", "never_with", "value")),
    Shape.PROHIBITED: Keys(
        (),
        (
            "ingredients", "site_kind", "setting", "method", "pest", "equipment", "nozzle",
            "pressure", "traits", "exceptions",
        ),
    ),
    Shape.ASK: Keys(("answers",), ("blocks",)),
}  # fmt: skip
"""Keys of each shape of limit, beside :data:`LIMIT_COMMON`."""

ALLOWED_LISTS = ("site_kind", "setting", "method", "pest", "equipment", "nozzle", "pressure")
COUNT_MEASURES = ("placements", "cans", "spots", "voids")
PER_COUNTS = ("voids", "placements", "spots", "rooms", "dwellings", "structures", "cans")
COUNT_PER = ("dwellings", "rooms", "structures", "voids")
PER_DEEP = ("depth", "width", "height")
GEOMETRY_MEASURES = ("height", "width", "depth", "patch area", "distance out")
PREPARED_MEASURES = ("surface temperature", "rain-free before", "rain-free after")
"""Measures of weather and surface that stand behind a word of ``prepared``, in parentheses."""
WEATHER_MEASURES = ("wind", "temperature", "rain", *PREPARED_MEASURES)
SAME = ("place", "address")
WITHIN = ("calendar year", "season", "infestation", "structure life")
WITHIN_TOTAL = (*WITHIN, "visit", "standing")
COUNTS = ("visits", "lines")
OF = ("treated", "total")
ACROSS = ("product", "ingredient")
COUNTING = ("date plus", "full days between")
BELOW = ("advice", "breach")
STEPS = ("before", "during", "after")
WHO = ("applicator", "supervisor", "customer")
TASKS = ("mix and load", "apply", "overhead", "confined space", "clean up", "early entry")
FOOD_KINDS = ("food", "non-food")
OPERATION = ("open", "closed", "either")
NOZZLES = ("pin stream", "variable pattern", "flat fan", "cone", "injector tip", "duster tip")
PRESSURES = ("low", "high")
CERTIFIED = ("applicator or supervisor", "applicator")
USED = ("as sold", "diluted")
EVERY = ("month", "year")
REPORT_PER = ("county", "state", "person")
DUE_UNREAD = ("not read",)
"""What ``due`` says in place of ``due_day`` where the due day of a report was not read."""
DUE_RULES = ("fixed", "next business day")
LEVELS = ("certified", "supervised")
DATE_ORDERS = ("month first", "day first")
RATIOS = ("1 in N", "1 + N")
EXPECT_KINDS = ("breach", "missing", "unknown", "advice", "late")
TOOL_PER = ("puff", "dab", "second", "placement", "stroke", "can")

WORD_LISTS = (
    "method", "setting", "site_kind", "pest", "place", "preparation", "reason", "notice",
    "work", "equipment", "ingredient", "condition", "trait",
)  # fmt: skip
"""The lists that ``words.toml`` may have."""

FACTS: Mapping[str, str] = {
    "method": "words:method",
    "setting": "words:setting",
    "site_kind": "words:site_kind",
    "formulation": "formulation",
    "product_class": "product_class",
    "place_traits": "trait",
    "places": "words:place",
    "pest": "words:pest",
    "ingredient": "words:ingredient",
    "applicator_level": "level",
    "supervisor": "given",
    "supervisor_level": "level",
    "county": "county",
    "line_of_work": "words:work",
    "equipment": "words:equipment",
    "nozzle": "nozzle",
    "pressure": "pressure",
    "notice": "words:notice",
    "area": "quantity:area",
    "wind": "quantity:speed",
    "temperature": "quantity:temperature",
    "rain": "flag",
    "extent": "given",
    "diluted": "flag",
    "from_structure": "quantity:length",
    **dict.fromkeys(LABEL_FLAGS, "flag"),
}
"""What a condition may ask, and what sort of answer it compares with."""

FACT_LEVELS = ("certified", "supervised", "none")
FLAG_WORDS = ("yes", "no")

REQUIREMENT_FIELDS = (
    "date", "start", "end", "applicator", "applicator_number", "supervisor",
    "supervisor_number", "certified_number", "customer", "customer_address", "address", "county",
    "site_kind", "product", "registration", "lot", "amount", "method", "setting", "places",
    "avoided", "prepared", "pests", "extent", "equipment", "temperature", "wind", "rain",
    "notice", "note", "zip", "city", "dilution", "rate", "ingredients", "firm", "firm_licence",
    "area", "volume", "wind_direction",
)  # fmt: skip
"""The fields that a requirement may ask for."""

FIRM_LISTS = ("product list", "person list")
"""What a firm may keep once for all its records (``[firm] keeps``)."""

NOT_AS = ("post-office box", "initials")
ABOUT = ("record", "handover", "paper", "notice", "request", "training")
STARTS = (
    "application", "completion of the work", "request", "record made", "incident", "training",
)  # fmt: skip
PAPER_AT = (
    "before a contract", "before the work", "on completion", "after the work", "on request",
    "every year",
)  # fmt: skip
DORMANT_WHY = ("superseded", "not enforced")
PAPER_FIELDS = (
    *REQUIREMENT_FIELDS, "firm_telephone", "pest_or_purpose", "statement", "signature",
    "precautions", "reentry", "label_text", "poison_control", "frequency", "guarantee",
    "signal_word", "manufacturer",
)  # fmt: skip
"""What a paper may have to say."""

EXAMPLE_HEADINGS = APPLICATION_HEADINGS
"""The headings that an example's lines may use."""

COUNTED_FROM = (
    "application", "completion of the work", "record made", "record made or amended",
    "end of the year", "report filed", "contract end", "employment end",
)  # fmt: skip
"""What the years of a retention are counted from."""

RECORDS = (
    "application", "training", "inspection", "notice", "report", "incident", "contract",
)  # fmt: skip
"""The sorts of record that a retention can be about."""
