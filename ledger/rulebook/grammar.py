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
* ``allowed`` ``allowed`` = pairs of heading (site_kind, setting, method, pest) and words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ledger.rulebook.model import Shape
from ledger.values.draft import APPLICATION_HEADINGS


@dataclass(frozen=True, slots=True)
class Keys:
    """The keys one table may have, and those it must have."""

    needed: tuple[str, ...]
    other: tuple[str, ...] = ()

    @property
    def allowed(self) -> tuple[str, ...]:
        """Every key, the needed ones first."""
        return (*self.needed, *self.other)


FAMILIES = ("units", "words", "label", "jurisdiction", "practice", "form", "firm", "stray")
"""The families of files in the order in which they are read and their faults are shown."""

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
            "deadline", "retention", "report", *_RULES,
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
            "registration", "exemption", "specific_gravity", "signal_word", "lots", "lasts",
            "lasts_source", "source",
        ),
    ),
    "ingredient": Keys(("name", "per_cent"), ("cas", "group", "synergist")),
    "value": Keys(("from", "source"), ("most", "least", "per", "more_than", "ended", "planned")),
    "county": Keys(("name", "number")),
    "require": Keys(
        ("name", "source", "says"), ("field", "any_of", *_SPAN, "blocks", "when")
    ),
    "deadline": Keys(("name", "what", "within", "source"), (*_SPAN, "when")),
    "retention": Keys(("name", "years", "counted_from", "source"), (*_SPAN, "says")),
    "report": Keys(
        ("name", "form", "every", "due_day", "due_rule", "per", "nil", "source"),
        ("due_month", *_SPAN),
    ),
    "unread": Keys(("section", "note"), ("source",)),
    "example": Keys(("name", "line", "expect"), ("before",)),
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
    "useledger": Keys(("firm",), ("database", "registration", "person", "tool")),
    "firm": Keys(
        (
            "name", "licence", "address", "city", "state", "zip", "home", "time_zone",
            "date_order", "ratio", "work",
        ),
        ("telephone",),
    ),
    "registration": Keys(("jurisdiction", "county", "year")),
    "person": Keys(("key", "name"), ("licensee", "supervisor", "licence")),
    "licence": Keys(
        ("number", "title", "jurisdiction", "work", "level", "from", "to"), ("restricted",)
    ),
    "tool": Keys(("key", "kind"), ("empty", "holds", "calibration")),
    "calibration": Keys(("on", "product", "gives", "per")),
}  # fmt: skip
"""Keys of every table, by the kind of table."""

LIMIT_HEAD = ("name", "shape", "source", "says")
LIMIT_COMMON = (*LIMIT_HEAD, *_SPAN, "mandatory", "inclusive", "when")
DATED_KEYS = ("most", "least", "per", "more_than")
"""What a limit says itself, or each of its dated ``[[limit.value]]`` tables instead."""

SHAPES: Mapping[Shape, Keys] = {
    Shape.RATE: Keys(("per",), ("most", "least", "basis", "value")),
    Shape.COUNT: Keys(("measure", "most", "per"), ("value",)),
    Shape.STRENGTH: Keys((), ("most", "least", "per", "value")),
    Shape.ENCLOSURE: Keys(("more_than",), ("value",)),
    Shape.GEOMETRY: Keys(("measure",), ("most", "least", "value")),
    Shape.INTERVAL: Keys(("least", "same"), ("value",)),
    Shape.VISITS: Keys(("most", "within", "same", "counts"), ("value",)),
    Shape.WEATHER: Keys(("measure",), ("most", "least", "expects", "value")),
    Shape.BUFFER: Keys(("from_trait", "least"), ("value",)),
    Shape.KEEP_OFF: Keys(("traits",)),
    Shape.PREPARE: Keys(("done",)),
    Shape.ALLOWED: Keys((), ("site_kind", "setting", "method", "pest")),
    Shape.SUPERVISION: Keys(("certified",)),
    Shape.PROHIBITED: Keys(("ingredients",), ("exceptions",)),
    Shape.ASK: Keys(("answers",), ("blocks",)),
}
"""Keys of each shape of limit, beside :data:`LIMIT_COMMON`."""

ALLOWED_LISTS = ("site_kind", "setting", "method", "pest")
COUNT_MEASURES = ("placements", "cans", "spots")
COUNT_PER = ("dwellings", "rooms")
PER_COUNTS = ("voids", "placements", "spots", "rooms", "dwellings", "cans")
GEOMETRY_MEASURES = ("height", "width", "depth")
WEATHER_MEASURES = ("wind", "temperature", "rain")
SAME = ("place", "address")
WITHIN = ("calendar year",)
COUNTS = ("visits", "lines")
CERTIFIED = ("applicator or supervisor",)
USED = ("as sold", "diluted")
EVERY = ("month", "year")
REPORT_PER = ("county", "state", "person")
LEVELS = ("certified", "supervised")
DATE_ORDERS = ("month first", "day first")
RATIOS = ("1 in N", "1 + N")
EXPECT_KINDS = ("breach", "missing", "unknown", "advice")
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
    "notice": "words:notice",
    "area": "quantity:area",
    "wind": "quantity:speed",
    "temperature": "quantity:temperature",
    "rain": "flag",
    "extent": "given",
    "diluted": "flag",
}
"""What a condition may ask, and what sort of answer it compares with."""

FACT_LEVELS = ("certified", "supervised", "none")
FLAG_WORDS = ("yes", "no")

REQUIREMENT_FIELDS = (
    "date", "start", "end", "applicator", "applicator_number", "supervisor",
    "supervisor_number", "certified_number", "customer", "customer_address", "address", "county",
    "site_kind", "product", "registration", "lot", "amount", "method", "setting", "places",
    "avoided", "prepared", "pests", "extent", "equipment", "temperature", "wind", "rain",
    "notice", "note",
)  # fmt: skip
"""The fields that a requirement may ask for."""

EXAMPLE_HEADINGS = APPLICATION_HEADINGS
"""The headings that an example's lines may use."""

COUNTED_FROM = (
    "application", "completion of the work", "record made", "record made or amended",
    "end of the year", "report filed",
)  # fmt: skip
"""What the years of a retention are counted from."""

FORM_VALUES = (
    "jurisdiction", "county", "county_number", "year", "month", "date", "site_code", "site_kind",
    "registration", "product", "formulation", "total_used", "unit", "applications", "visits",
    "ingredient", "cas", "pounds", "applicator", "licence", "address", "city", "zip", "method",
    "pests",
)  # fmt: skip
"""The values that a form's column may hold."""
