"""What `prepare` allows, the judgement after passes; what it refuses, breaches.

The plan is written down as a person would write it, as the bytes of a day sheet, and goes the way
of every recorded line: read, normalised, judged. Nothing of the plan's own code is asked again.
"""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from ledger.preparing.plan import ALLOWED, CANNOT_TELL, REFUSED, Plan, make_plan
from ledger.values.amount import Basis
from ledger.values.finding import Kind
from ledger.values.rounding import exact_text
from tests.cases import amount, book, measures, rate, use
from tests.plans import JOB, as_written, kinds, recorded, stage

PRODUCTS = (
    "ridgeline-dust", "alder-dust", "ridgeline-sc", "marsh-gel", "tarn-aerosol", "cedar-granule",
    "granite-powder", "slate-powder", "hearth-mint",
)  # fmt: skip
TODAY = date(2026, 1, 14)

extents = st.lists(
    st.one_of(
        st.integers(1, 400).map("{} ft".format),
        st.integers(1, 5).map("{} ft high".format),
        st.integers(1, 3000).map("{} sq ft".format),
        st.integers(1, 40).map("{} voids".format),
        st.integers(1, 40).map("{} placements".format),
        st.integers(1, 3).map("{} cans".format),
        st.integers(4, 14).map("{} ft by 6 ft room".format),
    ),
    max_size=4, unique_by=lambda text: text.split(" ", 1)[1],
).map("; ".join)  # fmt: skip
places = st.lists(
    st.sampled_from([
        "wall void", "door frame", "under refrigerator", "kitchen pipe entry", "counter",
        "foundation", "return air grille", "window track", "shower pan", "room", "lawn",
    ]),
    min_size=1, max_size=2, unique=True,
).map("; ".join)  # fmt: skip
jobs = st.fixed_dictionaries({
    "product": st.sampled_from(PRODUCTS),
    "method": st.sampled_from(["void", "crack and crevice", "band", "bait", "spot", "space",
                               "broadcast"]),
    "setting": st.sampled_from(["indoor", "at structure", "outdoor"]),
    "places": places,
    "extent": extents,
    "pests": st.sampled_from(["ants", "spiders", "mice", "flies", "earwigs"]),
    "site kind": st.sampled_from(["dwelling", "dwelling", "school", "apartment building"]),
    "avoided": st.sampled_from(["none present", "", "creek (water, 25 ft)", "creek (water, 9 ft)",
                                "refrigerator (moving air)"]),
    "prepared": st.sampled_from(["", "", "fans off", "none"]),
    "wind": st.sampled_from(["", "4 mph", "10 mph", "11 mph"]),
    "rain": st.sampled_from(["", "no", "no", "yes"]),
    "applicator": st.sampled_from(["renner", "renner", "marsh", "aster"]),
    "supervisor": st.sampled_from(["", "renner"]),
    "dilution": st.sampled_from(["", "0.4 fl oz/gal", "1.2 fl oz/gal", "1.3 fl oz/gal",
                                 "0.06 % ai"]),
})  # fmt: skip
"""Jobs of every sort, lawful ones among them."""

likely = st.sampled_from([
    {"product": "ridgeline-dust", "method": "void", "setting": "indoor", "pests": "ants"},
    {"product": "ridgeline-dust", "method": "crack and crevice", "setting": "at structure"},
    {"product": "alder-dust", "method": "void", "setting": "indoor", "pests": "ants"},
    {"product": "ridgeline-sc", "method": "band", "setting": "at structure", "wind": "4 mph",
     "rain": "no"},
    {"product": "marsh-gel", "method": "bait", "setting": "indoor", "places": "window track"},
    {"product": "tarn-aerosol", "method": "space", "setting": "indoor", "pests": "flies"},
    {"product": "cedar-granule", "method": "broadcast", "setting": "outdoor", "wind": "4 mph"},
    {"product": "granite-powder", "method": "void", "setting": "indoor", "pests": "mice"},
    {"product": "hearth-mint", "method": "spot", "setting": "indoor"},
])  # fmt: skip
sound = st.fixed_dictionaries({
    "applicator": st.just("renner"), "site kind": st.just("dwelling"),
    "avoided": st.just("none present"), "dilution": st.just(""), "prepared": st.just(""),
    "places": st.just("wall void"), "extent": st.just("3 ft high; 200 ft; 600 sq ft; 8 voids;"
                                                      " 12 placements; 1 can; 10 ft by 12 ft room"),
})  # fmt: skip


@st.composite
def wishes(draw):
    """Draw a job: any at all, one near what a label is for, or one that a label allows."""
    cells = JOB | draw(jobs)
    how = draw(st.integers(0, 2))
    if how:
        cells |= draw(likely)
    if how == 2:
        cells |= draw(sound)
        cells["places"] = "window track" if cells["product"] == "marsh-gel" else cells["places"]
    if cells["product"] != "ridgeline-sc":
        cells["dilution"] = ""
    return cells


@st.composite
def histories(draw):
    """Draw up to four earlier lines at the site, of products whose counts and intervals bind."""
    found = []
    for number in range(draw(st.integers(0, 4))):
        day = TODAY - timedelta(days=draw(st.sampled_from([1, 6, 7, 9, 10, 13, 40])))
        if draw(st.booleans()):
            found.append(use(date=day, places=draw(st.sampled_from([("wall void",), ("attic",)])),
                             visit=f"v{number}"))  # fmt: skip
        else:
            found.append(use(
                "ridgeline-sc", date=day, setting="at structure", method="band",
                amount=amount(1, "gal", Basis.MIX), dilution=rate(1), places=("foundation",),
                extent=measures(area=(1000, "sq ft"), height=(3, "ft")), visit=f"v{number}",
            ))  # fmt: skip
    return tuple(found)


BOUNDED = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)  # fmt: skip


def planned(cells, history):
    found = make_plan(stage(cells, history))
    assume(isinstance(found, Plan))
    return found


@BOUNDED
@given(cells=wishes(), history=histories())
def test_what_is_allowed_passes_and_what_is_refused_breaches(cells, history):
    plan = planned(cells, history)
    findings = recorded(as_written(cells, plan), history)
    assert findings == plan.findings
    broken = kinds(findings, Kind.BREACH)
    unsaid = kinds(findings, Kind.UNKNOWN) | {
        f.name for f in findings if f.kind is Kind.MISSING and not f.code.startswith("FIELD-")
    }
    if plan.verdict == ALLOWED:
        assert not broken
        assert not unsaid
    elif plan.verdict == REFUSED:
        assert broken
        assert len(plan.refused) == sum(f.kind is Kind.BREACH for f in findings)
    else:
        assert plan.verdict == CANNOT_TELL
        assert not broken
        assert unsaid


@BOUNDED
@given(cells=wishes(), history=histories(), share=st.fractions(0, 1))
def test_up_to_the_most_passes_and_the_next_step_does_not(cells, history, share):
    plan = planned(cells, history)
    bounds = [bound for bound in plan.most.bounds if bound.most is not None]
    assume(bounds)
    for bound in bounds:
        assert bound.most is not None
        step, most, unit = bound.scale.step, bound.most.value, bound.most.unit
        for value in (most, max(step, Fraction(share * most // step) * step)):
            line = as_written(cells, plan, f"{exact_text(value)} {unit}")
            assert not kinds(recorded(line, history), Kind.BREACH), (value, unit)
        coarse = bound.scale.step if most < bound.scale.heavy else bound.scale.coarse
        line = as_written(cells, plan, f"{exact_text(most + coarse)} {unit}")
        assert kinds(recorded(line, history), Kind.BREACH), (most + coarse, unit)


@BOUNDED
@given(cells=wishes(), history=histories())
def test_the_exact_maximum_of_each_rule_passes_it_and_a_thousandth_more_breaks_it(cells, history):
    plan = planned(cells, history)
    assume(plan.most.exact)
    for rule, most in plan.most.exact:
        source = rule.sources[0].split(" ")[0]

        def broken(value, unit=most.unit, source=source):
            findings = recorded(as_written(cells, plan, f"{value} {unit}"), history)
            refs = [ref for f in findings if f.kind is Kind.BREACH for ref in f.rules]
            return source in {f"{ref.file}:{ref.line}" for ref in refs}

        down = Fraction(int(most.value * 10**6), 10**6)
        assume(down)
        assert not broken(exact_text(down))
        up = Fraction(int(most.value * 1001 / 1000 * 10**9) + 1, 10**9)
        assert broken(exact_text(up))


def test_the_jobs_drawn_meet_every_verdict():
    seen = set()
    for cells in (
        {"product": "ridgeline-dust", "extent": "8 voids"},
        {"product": "ridgeline-dust", "extent": ""},
        {"product": "slate-powder", "extent": "8 voids", "pests": "mice"},
    ):
        found = make_plan(stage(JOB | cells))
        assert isinstance(found, Plan)
        seen.add(found.verdict)
    assert seen == {ALLOWED, CANNOT_TELL, REFUSED}
    assert set(PRODUCTS) <= {file.id for file in book().labels}
