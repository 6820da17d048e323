"""Plain words for what rule files call fields and facts, as a licensee would say them."""

from __future__ import annotations

from collections.abc import Mapping

FIELD_WORDS: Mapping[str, str] = {
    "date": "date", "start": "time of day", "end": "time the work ended",
    "applicator": "name of whoever applied", "applicator_number": "their licence number",
    "supervisor": "name of the supervisor", "supervisor_number": "the supervisor's licence number",
    "certified_number": "licence number of the certified person", "customer": "customer",
    "customer_address": "the customer's address", "address": "address of the site",
    "county": "county", "site_kind": "kind of site", "product": "name of the product",
    "registration": "registration number", "lot": "lot of the container",
    "amount": "amount used", "method": "method", "setting": "indoors, at the structure, outdoors",
    "places": "places treated", "avoided": "places left alone", "prepared": "what was prepared",
    "pests": "pests", "extent": "how much was treated", "equipment": "equipment",
    "temperature": "air temperature", "wind": "speed of the wind", "rain": "rain",
    "notice": "notice given", "note": "a note", "zip": "ZIP code of the site",
    "city": "town of the site", "dilution": "how the mix was made", "rate": "rate or strength",
    "ingredients": "active ingredients", "firm": "name of the firm",
    "firm_licence": "licence number of the firm", "area": "area treated",
    "volume": "space treated", "wind_direction": "direction of the wind",
    "firm_telephone": "telephone of the firm", "pest_or_purpose": "pest or purpose",
    "statement": "the fixed statement", "signature": "signature", "precautions": "precautions",
    "reentry": "when people may come back", "label_text": "text of the label",
    "poison_control": "poison control", "frequency": "how often we come",
    "guarantee": "guarantee", "signal_word": "signal word of the label",
    "manufacturer": "who makes the product",
}  # fmt: skip
"""Every field of a requirement or a paper."""

FACT_WORDS: Mapping[str, str] = {
    "method": "the method", "setting": "the work", "site_kind": "the kind of site",
    "formulation": "the product", "product_class": "the product",
    "place_traits": "a treated place", "places": "a treated place", "pest": "the pest",
    "ingredient": "an active ingredient", "applicator_level": "whoever applied",
    "supervisor": "a supervisor", "supervisor_level": "the supervisor", "county": "the county",
    "line_of_work": "the line of work", "area": "the area treated", "wind": "the wind",
    "temperature": "the temperature", "rain": "rain", "extent": "how much was treated",
    "notice": "the notice given", "diluted": "the product mixed with water",
    "equipment": "the equipment", "nozzle": "the nozzle", "pressure": "the pressure",
    "from_structure": "the distance from the structure",
}  # fmt: skip
"""What a condition asks about; the flags are in :data:`FLAG_WORDS`."""

FLAG_WORDS: Mapping[str, tuple[str, str]] = {
    "reentry_interval": ("the label has a re-entry time", "the label has no re-entry time"),
    "ventilation_period": (
        "the label asks for airing", "the label does not ask for airing",
    ),
    "rate_per_area": (
        "the label gives a rate per area", "the label gives no rate per area",
    ),
    "measure_named": (
        "the label names the measure", "the label names no measure",
    ),
    "drift_caution": ("the label warns of drift", "the label does not warn of drift"),
    "adjuvant_required": ("the label asks for an adjuvant", "the label asks for no adjuvant"),
    "diluted": ("the product is diluted", "the product is used as it comes"),
    "rain": ("it rains", "it does not rain"),
}  # fmt: skip
"""Facts that are yes or no, in words for either."""

VALUE_WORDS: Mapping[tuple[str, str], str] = {
    ("product_class", "restricted"): "of restricted use",
    ("product_class", "general"): "of general use",
    ("product_class", "minimum risk"): "of minimum risk",
    ("applicator_level", "supervised"): "an apprentice or technician under supervision",
    ("applicator_level", "none"): "without a licence",
    ("supervisor_level", "none"): "without a licence",
}
"""Values that read better in other words than those of the file."""


def field_words(field: str) -> str:
    """Return a field in plain words."""
    return FIELD_WORDS.get(field, field.replace("_", " "))
