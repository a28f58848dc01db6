"""The routes as data, the user's preparation, the verdict on it.

What a route says cannot be held against the standards here: their text could
not be had. So the tests hold the data to their marks: nothing without a source,
nothing called READ that was not read, and what is common practice as told. The
one route that was told whole (common practice, no source): a detergent soak of
about half an hour, water jets, grit blast, hot chromic-acid anodise.
"""

from __future__ import annotations

import tomllib
from importlib import resources
from itertools import pairwise

import pytest

from fejoint.errors import JointError
from fejoint.joint.library import shipped
from fejoint.joint.strength import Knockdown, StrengthRules
from fejoint.process.description import process_of, process_schema
from fejoint.process.preparation import Preparation, Surface
from fejoint.process.routes import (
    ALWAYS,
    FIGURES,
    MARKS,
    OPEN,
    families,
    families_of,
    hazards,
    route,
    routes,
    routes_for,
)
from fejoint.process.surface_verdict import STATES, surface_knockdown, surfaces, verdict, verdicts, with_surface_knockdown
from fejoint.show.process.preparation_words import alike, preparation_lines

ALUMINIUM = "aluminium 6082-T6"
LAP = {"lower": ALUMINIUM, "upper": ALUMINIUM}
DATA_MARKS = MARKS[:3]  # "user's" is none of the data, and what is open has no figure


def documents():
    folder = resources.files("fejoint.process").joinpath("preparations")
    return {entry.name: tomllib.loads(entry.read_text(encoding="utf-8")) for entry in folder.iterdir()}


def all_steps():
    return [pytest.param(r, s, id=f"{r.name}-{n}") for r in routes().values() for n, s in enumerate(r.steps, 1)]


def given(**keys):
    return process_of({"process": {"preparation": keys}}).preparation


# ---- the data --------------------------------------------------------------


def test_every_figure_has_a_value_a_source_and_a_mark():
    for name, document in documents().items():
        for key, table in document["route"].items():
            figures = [table["longest_wait"], *table["standards"]]
            figures += [step[name] for step in table["step"] for name in FIGURES if name in step]
            assert len(figures) == len(routes()[key].figures()), key
            for figure in figures:
                if figure == OPEN:
                    continue
                assert set(figure) == {"value", "source"} and figure["value"].strip(), (name, key, figure)
                assert figure["source"].startswith(DATA_MARKS), (name, key, figure)
                assert figure["source"] == DATA_MARKS[2] or len(figure["source"].partition(": ")[2]) > 5, (name, key, figure)


def test_no_figure_hides_in_the_words():
    for found in routes().values():
        said = [found.title, found.fits, found.fits_not, *(step.do for step in found.steps)]
        assert not [text for text in said if any(c.isdigit() for c in text)], found.name


def test_no_route_bears_a_knockdown_of_its_own():
    known = {"title", "fits", "fits_not", "standards", "longest_wait", "step", "only", "never", "also"}
    in_a_step = {"operation", "do", "hazards", "water_break", *FIGURES}
    for document in documents().values():
        for table in document["route"].values():
            assert set(table) <= known
            assert all(set(step) <= in_a_step for step in table["step"])


def test_only_what_was_read_is_called_read():
    """The scope of ASTM D3933 on a document page; of no other standard could a text be had."""
    read = [(r.name, figure) for r in routes().values() for figure in r.figures() if figure.mark == "READ"]
    assert [(name, figure.value) for name, figure in read] == [("aluminium-phosphoric-anodise", "ASTM D3933")]
    assert "figures below are from memory" in read[0][1].source


def test_phosphoric_anodise_has_its_figures_and_their_mark():
    """ASTM D3933, from memory: about 10 V, 20 to 25 min, about 10 % acid, 19 to 25 degrees."""
    step = next(step for step in route("aluminium-phosphoric-anodise").steps if step.operation == "anodise")
    told = {name: step.figures[name] for name in ("voltage", "time", "concentration", "temperature")}
    assert {name: figure.value for name, figure in told.items()} == {
        "voltage": "about 10 V",
        "time": "20 to 25 min",
        "concentration": "about 10 % by weight",
        "temperature": "19 to 25 degC",
    }
    assert all(figure.source == "from memory: ASTM D3933" for figure in told.values())


def test_the_route_of_common_practice_is_there_in_its_order():
    found = route("aluminium-blast-chromic-anodise")
    assert [step.operation for step in found.steps[:4]] == ["detergent soak", "water jets", "grit blast", "anodise"]
    soak, _, blast, anodise = found.steps[:4]
    assert (soak.figures["time"].value, soak.figures["time"].source) == ("about 30 min", "common practice, no source")
    assert anodise.figures["bath"].value == "chromic acid in deionised water, hot"
    assert anodise.figures["bath"].mark == "common practice, no source"
    assert "hexavalent-chromium" in anodise.hazards and "blasting-dust" in blast.hazards


def test_families_have_the_routes_that_they_need():
    assert list(families()) == ["aluminium", "steel", "titanium", "composite", "plastic"]
    operations = {
        "aluminium": {"degrease", "alkaline clean", "rinse", "abrade", "grit blast", "etch", "anodise", "prime"},
        "steel": {"degrease", "grit blast", "prime"},
        "titanium": {"degrease", "alkaline clean", "rinse", "grit blast", "etch", "anodise", "prime"},
        "composite": {"peel", "abrade", "wipe"},
        "plastic": {"abrade", "corona", "flame", "plasma", "prime"},
    }
    for family, needed in operations.items():
        assert needed <= {step.operation for found in routes_for(family) for step in found.steps}, family


@pytest.mark.parametrize(("found", "step"), all_steps())
def test_a_step_names_the_hazards_of_what_it_uses(found, step):
    assert set(step.hazards) <= set(hazards())
    bath = f"{step.figures['bath'].value} {step.do}".lower() if "bath" in step.figures else step.do.lower()
    for words, keys in (
        (("chromic", "dichromate"), {"hexavalent-chromium"}),
        (("hydrofluoric",), {"hydrofluoric-acid"}),
        (("phosphoric acid", "sulfuric acid", "nitric"), {"acids"}),
        (("sodium hydroxide", "alkaline cleaner"), {"caustics"}),
        (("ketone", "alcohol"), {"solvents"}),
        (("primer", "silane", "sol-gel"), {"skin-sensitisers"}),
    ):
        if any(word in bath for word in words):
            assert keys <= set(step.hazards), step
    for operation, keys in (
        ("grit blast", {"blasting-dust"}),
        ("anodise", {"electric-current"}),
        ("corona", {"high-voltage-and-ozone"}),
        ("flame", {"flame"}),
        ("abrade", {"fibre-dust"} if "composite" in found.families else {"abrading-dust"}),
    ):
        if step.operation == operation:
            assert keys <= set(step.hazards), step
    if step.operation in ("grit blast", "abrade") and set(found.families) & {"aluminium", "titanium"}:
        assert "metal-dust" in step.hazards
    assert step.water_break == ("water-break test" in step.figures["check"].value)


def test_a_rinse_carries_what_it_rinses_off():
    """Drag-out burns as the bath does (common practice, no source)."""
    baths = {"acids", "caustics", "hexavalent-chromium", "hydrofluoric-acid"}
    found = [(r.name, one, two) for r in routes().values() for one, two in pairwise(r.steps) if two.operation == "rinse"]
    assert len(found) >= 5
    for name, bath, rinse in found:
        assert baths & set(bath.hazards) <= set(rinse.hazards), name


def test_dust_that_burns_is_not_blown_about():
    """The cautions forbid compressed air on it, so no step may ask for it."""
    assert "without compressed air" in " ".join(hazards()["metal-dust"].cautions)
    for _, step in (entry.values for entry in all_steps()):
        if "metal-dust" in step.hazards:
            assert "blow the dust off" not in step.do, step.do


def test_baths_that_kill_say_what_must_be_known():
    said = {key: " ".join([hazards()[key].short, *hazards()[key].cautions]) for key in hazards()}
    assert "catch fire" in said["hexavalent-chromium"] and "dry of solvent" in said["hexavalent-chromium"]
    assert "Brown fumes" in said["acids"] and "Calcium gluconate" in said["hydrofluoric-acid"]
    assert "Wet dust gives off hydrogen" in said["metal-dust"] and "hydrogen" in hazards()["electric-current"].what


def test_every_hazard_has_cautions_and_a_mark():
    used = {key for found in routes().values() for key in found.hazards()}
    assert used == set(hazards())
    for hazard in hazards().values():
        assert hazard.cautions and hazard.short and hazard.what and hazard.source.startswith(DATA_MARKS), hazard.key
    assert "carcinogenic" in hazards()["hexavalent-chromium"].source
    assert any("chromate-free" in text for text in hazards()["hexavalent-chromium"].cautions)
    assert any("glove" in item for item in hazards()["skin-sensitisers"].wear)
    assert any("mask" in item for item in hazards()["blasting-dust"].wear)
    assert any("never water to acid" in text for text in hazards()["acids"].cautions)


# ---- which route fits what -------------------------------------------------


@pytest.mark.parametrize("name", shipped()["adherend"])
def test_every_shipped_adherend_has_routes(name):
    assert len(families_of(name)) == 1
    assert routes_for(name)


@pytest.mark.parametrize(
    ("material", "family"),
    [
        ("aluminium 2024-T3", ("aluminium",)),
        ("Aluminum 6061", ("aluminium",)),
        ("mild steel S355", ("steel",)),
        ("carbon steel", ("steel",)),
        ("stainless steel 1.4301", ("steel",)),
        ("titanium Ti-6Al-4V", ("titanium",)),
        ("carbon ply T300/5208, 0 degrees", ("composite",)),
        ("polypropylene", ("plastic",)),
        ("glass-filled polyamide", ("plastic",)),
        ("oak", ()),
        ("steelhead", ()),
        ("", ()),
    ],
)
def test_the_name_of_a_material_tells_its_family_by_whole_words(material, family):
    assert families_of(material) == family


@pytest.mark.parametrize(
    ("material", "fits", "does_not"),
    [
        ("steel A36", "steel-blast-prime", "stainless-blast-prime"),
        ("stainless steel 1.4301", "stainless-blast-prime", "steel-blast-prime"),
        ("polypropylene", "polyolefin-primer", "plastic-abrade"),
        ("polycarbonate", "plastic-abrade", "polyolefin-primer"),
        ("PTFE", None, "plastic-plasma"),
        ("PEEK laminate", "plastic-plasma", "composite-abrade"),
        (ALUMINIUM, "aluminium-sol-gel", "titanium-pickle"),
    ],
)
def test_routes_go_by_family_and_words(material, fits, does_not):
    names = [found.name for found in routes_for(material)]
    assert (fits in names) if fits else not names
    assert does_not not in names


# ---- the verdict -----------------------------------------------------------

GOOD = {"route": "aluminium-phosphoric-anodise", "waited": "2 h", "longest_wait": "8 h", "water_break": True}


@pytest.mark.parametrize(
    ("change", "material", "state", "said"),
    [
        ({}, ALUMINIUM, "fit", ""),
        ({"waited": "480 min"}, ALUMINIUM, "fit", ""),
        ({"waited": "481 min"}, ALUMINIUM, "wait exceeded", "longer than 8 h"),
        ({"water_break": False}, ALUMINIUM, "water break failed", "film of water broke"),
        ({"water_break": False, "waited": "9 h"}, ALUMINIUM, "water break failed", "longer than 8 h"),
        ({"water_break": False}, "steel A36", "not fit", "for aluminium"),
        ({"water_break": None}, ALUMINIUM, "checks open", "water-break test is not stated"),
        ({"waited": None}, ALUMINIUM, "checks open", "how long the surface waits is not stated"),
        ({"longest_wait": None}, ALUMINIUM, "checks open", "left to the data sheet"),
        ({}, "oak", "checks open", "tells no family"),
        ({}, "", "checks open", "has no name"),
        ({"family": "aluminium"}, "", "fit", ""),
        ({"family": "steel"}, "", "not fit", "for aluminium"),
    ],
)
def test_verdict(change, material, state, said):
    keys = {key: value for key, value in {**GOOD, **change}.items() if value is not None}
    found = verdict(given(**keys), material)
    assert found.state == state
    assert said in " ".join(found.reasons)
    assert bool(found.reasons) == bool(found.what_to_do) == (state != "fit")
    assert found.forbids_bonding == (state in STATES[2:])


def test_the_routes_own_wait_counts_where_none_is_stated():
    """Blasted steel is bonded within about four hours (common practice, no source)."""
    steel = {"route": "steel-blast-bond", "water_break": True}
    assert verdict(given(**steel, waited="4 h"), "steel A36").state == "fit"
    found = verdict(given(**steel, waited="5 h"), "steel A36")
    assert found.state == "wait exceeded" and "common practice, no source" in found.reasons[0]
    assert verdict(given(**steel, waited="5 h", longest_wait="6 h"), "steel A36").state == "fit"


def test_a_test_that_the_route_has_not_is_not_asked_for_but_counts_where_it_failed():
    plastic = {"route": "plastic-corona", "waited": "1 h", "longest_wait": "2 h"}
    assert verdict(given(**plastic), "polypropylene").state == "fit"
    assert verdict(given(**plastic, water_break=False), "polypropylene").state == "water break failed"


# ---- the user's own --------------------------------------------------------


def test_figures_wait_and_primer_of_the_users_take_their_places():
    found = given(
        route="aluminium-blast-chromic-anodise",
        figure=[{"step": 4, "of": "time", "value": "40 min", "source": "plant's procedure"}],
        longest_wait={"value": "8 h", "source": "data sheet of the primer"},
        primer="the primer of the data sheet",
    ).as_route()
    assert str(found.steps[3].figures["time"]) == "40 min (plant's procedure)"
    assert found.steps[3].figures["time"].mark == "user's"
    assert [name for name in found.steps[3].figures] == [name for name in FIGURES if name in found.steps[3].figures]
    assert (found.longest_wait.value, found.longest_wait.source) == ("8 h", "data sheet of the primer")
    assert found.steps[-1].operation == "prime" and "skin-sensitisers" in found.steps[-1].hazards
    assert str(found.steps[-1].figures["bath"]) == "the primer of the data sheet (user's)"
    assert route("aluminium-blast-chromic-anodise").steps[3].figures["time"].is_open  # the data stay as they are


def test_a_primer_takes_the_place_of_that_of_the_route():
    found = given(route="steel-blast-prime", primer="zinc-free primer").as_route()
    assert len(found.steps) == len(route("steel-blast-prime").steps)
    assert found.steps[2].figures["bath"].value == "zinc-free primer"


def test_own_steps_stand_in_place_of_a_route_and_are_their_users_judgement():
    step = {"operation": "wipe", "do": "Wipe.", "bath": "ketone", "hazards": ["solvents"], "water_break": True}
    found = given(step=[step], waited="1 h", longest_wait="2 h", water_break=True)
    assert [(s.operation, str(s.figures["bath"]), s.hazards) for s in found.as_route().steps] == [
        ("wipe", "ketone (user's)", ("solvents",))
    ]
    assert verdict(found, ALUMINIUM).state == "checks open"
    assert "their user's judgement" in verdict(found, ALUMINIUM).reasons[0]
    assert "water-break test is not stated" in " ".join(verdict(given(step=[step]), ALUMINIUM).reasons)


def test_a_table_of_one_adherend_takes_the_place_of_all_above_it():
    found = given(**GOOD, upper={"route": "steel-blast-bond"})
    by_name = surfaces(found, ["lower", "upper"])
    assert by_name["lower"] is found and by_name["upper"].waited is None
    assert {name: v.state for name, v in verdicts(found, {"lower": ALUMINIUM, "upper": "steel A36"}).items()} == {
        "lower": "fit",
        "upper": "checks open",
    }
    outers = given(route="steel-blast-bond", outer={"route": "aluminium-abrade"}, upper_outer={"route": "aluminium-sol-gel"})
    named = {name: s.route for name, s in surfaces(outers, ["lower_outer", "inner", "upper_outer"]).items()}
    assert named == {"lower_outer": "aluminium-abrade", "inner": "steel-blast-bond", "upper_outer": "aluminium-sol-gel"}


def test_dates_of_toml_are_text():
    document = tomllib.loads('process.preparation = { route = "aluminium-abrade", prepared = 2026-03-02T08:30:00 }')
    assert process_of(document).preparation.prepared == "2026-03-02 08:30"


# ---- knockdowns ------------------------------------------------------------


def test_the_knockdown_of_the_worst_surface_goes_to_the_rules_of_strength_once():
    found = given(
        route="aluminium-abrade",
        knockdown={"factor": 0.8, "source": "user's"},
        upper={"route": "steel-blast-bond", "knockdown": {"factor": 0.7, "source": "own coupons, lot 3", "name": "blasted"}},
    )
    least = Knockdown(name="blasted", factor=0.7, source="own coupons, lot 3")
    assert surface_knockdown(found, LAP) == least
    rules = StrengthRules(knockdown=[{"name": "hot and wet", "factor": 0.9}])
    assert [k.factor for k in with_surface_knockdown(rules, found, LAP).knockdown] == [0.9, 0.7]
    counted = with_surface_knockdown(rules, found, LAP)
    assert with_surface_knockdown(counted, found, LAP) == counted
    plain = given(route="aluminium-abrade")
    assert surface_knockdown(plain, LAP) is None and with_surface_knockdown(rules, plain, LAP) is rules


# ---- words -----------------------------------------------------------------


def test_lines_say_verdict_what_to_do_hazards_and_that_no_knockdown_is_given():
    lines = preparation_lines(given(**{**GOOD, "waited": "9 h"}), LAP)
    assert lines[0].startswith("lower and upper (aluminium 6082-T6): Phosphoric acid anodise") and "wait exceeded" in lines[0]
    assert any("longer than 8 h (user's)" in line for line in lines)
    assert any(line.startswith("  To do: do not bond") for line in lines)
    assert any(ALWAYS in line and "acid" in line for line in lines)
    assert "no factor is given here" in lines[-1]
    assert len(alike(given(**GOOD), LAP)) == 1 and len(alike(given(**GOOD), {**LAP, "upper": "steel A36"})) == 2


# ---- bad input -------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "sentence"),
    [
        ({}, "preparation.route is missing: give one of aluminium-abrade"),
        ({"route": "aluminium-fosforic-anodise"}, "did you mean aluminium-phosphoric-anodise?"),
        ({"route": 3}, "preparation.route = 3: must be text in quotes"),
        ({"rote": "x"}, "preparation.rote: unknown key; did you mean route?"),
        ({"route": "aluminium-abrade", "step": [{"operation": "a", "do": "b"}]}, "leave one of them out"),
        (
            {"step": [{"operation": "a", "do": "b", "hazards": ["dragons"]}]},
            'hazards item 1 = "dragons": must be one',
        ),
        ({"step": [{"operation": " ", "do": "b"}]}, "must be text of 1 to 300 printable characters"),
        ({"route": "steel-blast-bond", "waited": "2 mm"}, 'waited = "2 mm": must be a time'),
        ({"route": "steel-blast-bond", "waited": "-2 h"}, "must be at least 0 s"),
        ({"route": "steel-blast-bond", "water_break": "perhaps"}, "must be true or false"),
        ({"route": "steel-blast-bond", "family": "wood"}, 'family = "wood": must be one of aluminium'),
        ({"route": "steel-blast-bond", "figure": [{"step": 9, "of": "time", "value": "3"}]}, "the route has 2 steps"),
        ({"route": "steel-blast-bond", "figure": [{"step": 1, "of": "age", "value": "3"}]}, 'figure item 1.of = "age"'),
        ({"route": "steel-blast-bond", "figure": 2 * [{"step": 1, "of": "time", "value": "3"}]}, "is there already for step 1"),
        ({"route": "steel-blast-bond", "knockdown": {"factor": 0.9}}, "knockdown.source is missing"),
        ({"route": "steel-blast-bond", "knockdown": {"factor": 0.9, "source": " "}}, "knockdown.source"),
        (
            {"route": "steel-blast-bond", "knockdown": {"factor": 1.2, "source": "user's"}},
            "factor = 1.2: must be at most 1",
        ),
        ({"route": "steel-blast-bond", "lower": {"waited": "3 h"}}, "preparation.lower.route is missing"),
        ({"route": "steel-blast-bond", "done_by": "a\u202eb"}, "printable"),
    ],
)
def test_bad_input_is_one_sentence(keys, sentence):
    with pytest.raises(JointError) as error:
        given(**keys)
    assert sentence in str(error.value) and str(error.value).startswith("joint file: process.preparation")


def test_adherends_that_the_joint_has_not_and_adherends_without_a_route_are_named():
    with pytest.raises(JointError, match=r"preparation\.outer: the joint's adherends are lower, upper"):
        surfaces(given(**GOOD, outer={"route": "steel-blast-bond"}), LAP)
    with pytest.raises(JointError, match=r"adherend upper has no route"):
        surfaces(given(lower={"route": "steel-blast-bond"}), LAP)


def test_the_water_break_test_is_not_stated_in_two_ways():
    table = {"preparation": {"route": "aluminium-abrade", "water_break": True}, "wetting": {"water_film_whole": True}}
    assert process_of({"process": table}).wetting.water_film_whole
    table["wetting"]["water_film_whole"] = False
    with pytest.raises(JointError, match=r"preparation\.water_break = true: contradicts wetting\.water_film_whole = false"):
        process_of({"process": table})


def test_a_family_that_contradicts_the_name_is_not_believed():
    """Or a pickle with hydrofluoric acid would be called fit for a carbon laminate."""
    stated = given(route="titanium-pickle", family="titanium", water_break=True, waited="1 h", longest_wait="4 h")
    assert verdict(stated, "").state == verdict(stated, "titanium Ti-6Al-4V").state == verdict(stated, "grade 5").state == "fit"
    found = verdict(stated, "carbon ply T300/5208, 0 degrees")
    assert found.state == "not fit" and "contradicts the material's name" in found.reasons[0]


def test_an_unknown_route_in_python_names_the_nearest():
    with pytest.raises(JointError, match="did you mean aluminium-abrade"):
        route("aluminium-abrad")
    with pytest.raises(JointError, match=r"route is missing"):
        Surface().as_route()


def test_the_schema_knows_the_keys():
    keys = process_schema()["$defs"]["Preparation"]["properties"]
    assert {"route", "waited", "water_break", "knockdown", "upper"} <= set(keys)
    assert all("description" in key for key in keys.values())
    assert Preparation(route="aluminium-abrade").route == "aluminium-abrade"
