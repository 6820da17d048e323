"""Sixty invented products of the generated firm: six kinds of work, ten brands of each.

Each label has the limits of a shipped, invented label (a dust, a gel, a concentrate, granules, a
desiccant, a mint oil) and doses and names of its own. A few brands do most of the work.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from ledger.rulefile import shipped_rules

Row = dict[str, str]

BRANDS = (
    "Alder",
    "Basalt",
    "Cinder",
    "Delta",
    "Elm",
    "Fathom",
    "Gorse",
    "Harbor",
    "Inlet",
    "Jasper",
)
STEPS = (100, 80, 120, 60, 140, 90, 110, 70, 130, 50)
"""How strong each brand's dose is, in hundredths of the shipped label's."""


@dataclass(frozen=True, slots=True)
class Work:
    """How one kind of product is used: how often, its day-sheet cells, and the dose.

    ``label`` is the shipped label whose limits it takes, ``rates`` those of its texts that grow
    with the brand's dose. ``size`` bounds how much is treated; ``dose`` is per one of ``per`` at
    the label's limit, in thousandths of ``unit``; a lawful line stays below it.
    """

    label: str
    rates: tuple[str, ...]
    weight: int
    cells: Row
    unit: str
    dose: int
    per: str
    size: tuple[int, int]


WORK = (
    Work("ridgeline-dust", ("0.5 oz", "1 oz"), 34, {
        "method": "crack and crevice", "setting": "at structure",
        "places": "door frame; siding seam; window frame", "avoided": "none present",
        "pests": "stink bugs; lady beetles", "equipment": "duster-a",
    }, "oz", 5, "ft", (60, 300)),
    Work("ridgeline-dust", ("0.5 oz", "1 oz"), 20, {
        "method": "void", "setting": "indoor",
        "places": "wall void; base plate", "avoided": "refrigerator (moving air)",
        "pests": "spiders", "equipment": "duster-a",
    }, "oz", 100, "voids", (3, 12)),
    Work("marsh-gel", ("0.5 g",), 22, {
        "method": "bait", "setting": "indoor",
        "places": "kitchen pipe entry; window track", "avoided": "counter (food)", "pests": "ants",
    }, "g", 500, "placements", (6, 20)),
    Work("ridgeline-sc", ("1.25 gal",), 10, {
        "method": "band", "setting": "at structure", "basis": "mix",
        "dilution": "0.8 fl oz/gal", "places": "foundation", "avoided": "creek (water, 60 ft)",
        "pests": "ants", "equipment": "tank-4",
    }, "gal", 1, "sq ft", (300, 1200)),
    Work("cedar-granule", ("3 lb",), 7, {
        "method": "broadcast", "setting": "outdoor",
        "places": "soil along foundation", "avoided": "none present",
        "prepared": "hard surfaces swept", "pests": "ants",
    }, "lb", 3, "sq ft", (300, 1500)),
    Work("alder-dust", ("4 oz",), 4, {
        "method": "void", "setting": "indoor", "places": "base plate",
        "avoided": "return air grille (moving air)", "pests": "crickets", "equipment": "duster-d",
    }, "oz", 4, "sq ft", (100, 500)),
    Work("hearth-mint", (), 3, {
        "method": "spot", "setting": "indoor", "places": "window sill",
        "avoided": "none present", "pests": "ants",
    }, "fl oz", 250, "spots", (2, 8)),
)  # fmt: skip

KINDS = {
    "ridgeline-dust": "crevice", "marsh-gel": "gel", "ridgeline-sc": "residual",
    "cedar-granule": "granule", "alder-dust": "desiccant", "hearth-mint": "mint",
}  # fmt: skip
"""The shipped labels whose limits are used, each with the word that ends its brands' ids."""


def product_id(label: str, brand: int) -> str:
    """Return the id of one brand of a kind; the first brand is the shipped label itself."""
    return label if brand == 0 else f"{BRANDS[brand].casefold()}-{KINDS[label]}"


def label_texts() -> dict[str, str]:
    """Return the label files of all sixty products by their name."""
    texts = {}
    for kind, label in enumerate(KINDS):
        whole = (shipped_rules() / "labels" / f"{label}.toml").read_text(encoding="utf-8")
        plain = whole.partition("[[example]]")[0]
        rates = {rate for work in WORK if work.label == label for rate in work.rates}
        for brand in range(len(BRANDS)):
            name = product_id(label, brand)
            texts[f"{name}.toml"] = _of_brand(plain, rates, kind, brand) if brand else plain
    return texts


def _of_brand(text: str, rates: set[str], kind: int, brand: int) -> str:
    (old_id,) = re.findall(r'(?m)^id = "(.+)"$', text)
    (old_name,) = re.findall(r'(?m)^title = "(.+)"$', text.partition("[product]")[0])
    name = f"{BRANDS[brand]} {old_name.partition(' ')[2]}"
    text = text.replace(f'"{old_id}"', f'"{product_id(old_id, brand)}"').replace(old_name, name)
    text = re.sub(r'registration = ".*"', f'registration = "99{980 + kind}-{10 + brand}"', text)
    if not rates:
        return text
    # All at once, or a figure just written would be taken for one that stands there.
    either = "|".join(map(re.escape, sorted(rates)))
    return re.sub(rf"(?<![\d.])({either})", lambda found: _scaled(found[1], brand), text)


def _scaled(rate: str, brand: int) -> str:
    """Return a rate with its unit as that brand's label gives it."""
    figure, _, unit = rate.partition(" ")
    whole, _, rest = figure.partition(".")
    digits = int(whole + rest) * STEPS[brand]
    places = len(rest) + 2
    text = f"{digits:0{places + 1}}"
    number = f"{text[:-places]}.{text[-places:]}".rstrip("0").rstrip(".")
    return f"{number} {unit}"
