"""What each heading of a day sheet means, with an example, in words for the person who fills it in.

Shown as the notes on the headings of the workbook and on the back of the sheet for a pen.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Help:
    """A heading's meaning, an example as a person would write it, and a column's width."""

    meaning: str
    example: str
    width: int = 12


_REPEATS = "Blank: as on the line above, for the same visit."

APPLICATION_HELP = {
    "line": Help("Your own number for the line. May stay blank.", "4", 6),
    "date": Help(f"Day of the work, at the site. {_REPEATS}", "2026-01-14", 12),
    "start": Help(f"When the visit began, by the clock at the site. {_REPEATS}", "08:05", 8),
    "end": Help(
        f"When the visit ended. Past midnight: the time and +1. {_REPEATS}", "09:20 or 00:15 +1", 10
    ),
    "applicator": Help(f"Who applied it: key or licence number. {_REPEATS}", "renner", 12),
    "supervisor": Help(
        "Who was responsible, where the applicator works under somebody. Key or licence number.",
        "calloway", 12,
    ),
    "customer": Help(f"For whom. {_REPEATS}", "M. Okafor", 20),
    "customer address": Help(
        "Where the customer is, if that is not the place of the work.",
        "31 Foundry Row, Auburn CA 95603", 24,
    ),
    "address": Help(
        f"Street and number of the place of the work, never a post-office box. {_REPEATS}",
        "118 Tollhouse Lane", 24,
    ),
    "unit": Help("Apartment, suite or space, if there is one.", "Apt 4", 8),
    "city": Help(_REPEATS, "Auburn", 14),
    "state": Help(f"Two letters. {_REPEATS}", "CA", 7),
    "zip": Help(f"Five digits, a leading 0 included. {_REPEATS}", "95603", 8),
    "county": Help(f"County of the place of the work. {_REPEATS}", "Placer", 12),
    "site": Help(
        "Key of a place that the ledger knows. It stands in for the whole address.", "S0001", 9
    ),
    "site kind": Help(f"What kind of place it is. {_REPEATS}", "dwelling", 14),
    "product": Help("What was put down: its id or its registration number.", "ridgeline-dust", 18),
    "lot": Help(
        "Lot on the container. It tells which version of the label is in hand.", "RD-2511", 12
    ),
    "amount": Help(
        "How much, with its unit. Fractions and weighings are welcome. A dust or bait is weighed,"
        " a liquid measured; a puff or a station is no amount.",
        "1/2 oz; 1 lb 10 oz; 212.4 g - 198.1 g", 20,
    ),
    "basis": Help(
        "Whether the amount is product as sold or finished mix. Needed for what its label dilutes.",
        "mix", 9,
    ),
    "dilution": Help(
        "How the mix was made. A per cent says of what: % ai or % product.",
        "1.2 fl oz/gal; 0.06 % ai; 1:100; none", 16,
    ),
    "mix": Help("The same letter or word on lines that came from one tank.", "A", 7),
    "method": Help("How it was put down.", "crack and crevice", 18),
    "setting": Help("Indoor, at the structure, or outdoor.", "at structure", 13),
    "places": Help("Where exactly; several with ; between.", "door frame; siding seam", 28),
    "avoided": Help(
        "What was left alone on purpose, why, and how far away where it matters. If there was"
        " nothing to avoid write: none present. Blank is no answer.",
        "refrigerator (moving air); creek (water, 60 ft)", 28,
    ),
    "prepared": Help(
        "What was done beforehand as the label asks; several with ; between.",
        "food covered; fans off", 22,
    ),
    "pests": Help("Against what; several with ; between.", "ants; spiders", 18),
    "extent": Help(
        "How much was treated: length, height, area, voids, placements, spots, rooms; with ;",
        "120 ft; 3 ft high; 360 sq ft", 22,
    ),
    "equipment": Help("Key of the tool that was used.", "duster-a", 12),
    "temperature": Help(f"Air temperature with its unit. {_REPEATS}", "31 F", 12),
    "wind": Help(f"Wind speed and where it came from. {_REPEATS}", "6 mph NW", 11),
    "rain": Help(f"Whether it rained. {_REPEATS}", "no", 7),
    "notice": Help(f"What paper the customer was given, and when. {_REPEATS}", "before", 10),
    "note": Help("Anything else worth keeping.", "side gate was locked", 30),
}  # fmt: skip

OBSERVATION_HELP = {
    "date": Help("Day on which it was seen. Blank: as on the line above.", "2026-01-14", 12),
    "address": Help("Where, as on the other worksheet. Blank: as above.", "118 Tollhouse Lane", 24),
    "site": Help("Key of a place that the ledger knows.", "S0001", 9),
    "place": Help("The spot at the house.", "north wall", 22),
    "condition": Help("What lets pests in or feeds them.", "firewood stacked on the siding", 34),
    "advice": Help("What the customer was told to repair or clear.", "stack it 20 ft away", 38),
}  # fmt: skip
