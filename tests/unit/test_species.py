"""What a name as written is taken for."""

import time

import numpy as np
import pandas as pd
import pytest

from layers.species import matched, matched_name, softwood_or_hardwood, species_table

SURE = [
    ("Quercus robur", "Quercus robur"),
    ("Quercus robur L.", "Quercus robur"),
    ("Quercus L.", "Quercus spp."),
    ("Tilia cordata Mill. 'Greenspire'", "Tilia cordata"),
    ("Amelanchier lamarckii F.G.Schroed.", "Amelanchier lamarckii"),
    ("Carpinus betulus 'Fastigiata'", "Carpinus betulus"),
    ("Carpinus betulus cv. Fastigiata", "Carpinus betulus"),
    ("Acer rubrum ´Armstrong´", "Acer rubrum"),
    ("Acer rubrum ‘Armstrong’", "Acer rubrum"),
    ("Amelanchier arborea'Robin Hill'", "Amelanchier arborea"),
    ("Fraxinus excelsior 'Westhof's Glorie'", "Fraxinus excelsior"),
    ('Prunus Cerasifera "Pissardii"', "Prunus cerasifera"),
    ("Cedrus Deodara Pendula", "Cedrus deodara"),
    ("Fraxinus Excelsior", "Fraxinus excelsior"),
    ("ACER PLATANOIDES", "Acer platanoides"),
    ("ACER PLATANOIDES COLUMNARE", "Acer platanoides"),
    ("Chamaecyparis  lawsoniana", "Chamaecyparis lawsoniana"),
    ("  Acer\u00a0rubrum ", "Acer rubrum"),
    ("Aesculus x carnea", "Aesculus x carnea"),
    ("Aesculus ×carnea", "Aesculus x carnea"),
    ("Aesculus carnea Briotti", "Aesculus x carnea"),
    ("AESCULUS CARNEA   X", "Aesculus x carnea"),
    ("ACER FREEMANII   X ARMSTRONG", "Acer x freemanii"),
    ("Tilia X Americana", "Tilia americana"),
    ("x Cupressocyparis leylandii", "Cupressocyparis leylandii"),
    ("×Cuprocyparis leylandii", "Cupressocyparis leylandii"),
    ("Quercus robur x alba", "Quercus robur x alba"),
    ("Quercus robur × Q. alba", "Quercus robur x alba"),
    ("Acer platanoides x truncatum", "Acer platanoides x truncatum"),
    ("Ulmus Hybride 'Lobel'", "Ulmus spp."),
    ("ULMUS hybr.'New horizon", "Ulmus spp."),
    ("MAGNOLIA XX GALAXY", "Magnolia spp."),
    ("Prunus 'Accolade'", "Prunus spp."),
    ("Acer", "Acer spp."),
    ("Platanus Sp.", "Platanus spp."),
    ("Malus spp", "Malus spp."),
    ("CATALPA SPECIES", "Catalpa spp."),
    ("Pinus nigra ssp. austriaca", "Pinus nigra"),
    ("Pseudotsuga menziesii var. caesia", "Pseudotsuga menziesii"),
    ("Juniperus virginiana var. silicicola", "Juniperus virginiana var. silicicola"),
    ("Taxus Baccata (Tasso Comune)", "Taxus baccata"),
    ("Spitzahorn (Acer platanoides)", "Acer platanoides"),
    ("Quercus agrifolia :: Coast Live Oak", "Quercus agrifolia"),
    ("European beech - Fagus sylvatica", "Fagus sylvatica"),
    ("Sophora japonica 'Regent'", "Styphnolobium japonicum"),
    ("Norway maple", "Acer platanoides"),
    ("Maple, Norway", "Acer platanoides"),
    ("small-leaved lime", "Tilia cordata"),
]
DOUBTFUL = [
    ("Quercus rober", "Quercus robur"),
    ("Eleagnus angustifolia", "Elaeagnus angustifolia"),
    ("Eribotrya Japonica", "Eriobotrya japonica"),
    ("Cedrus atlantika", "Cedrus atlantica"),
    ("Chamaecyparis law. Ellwoodii", "Chamaecyparis lawsoniana"),
    ("Q. robur", "Quercus robur"),
    ("Norwey maple", "Acer platanoides"),
    ("Aacer", "Acer spp."),
    ("sycamore", "Platanus spp."),
    ("Acer zzz", "Acer spp."),
    ("Quercus robur / Quercus petraea", "Quercus robur"),
    ("Acer pseudoacacia", "Acer pseudoacacia"),
    ("Ac\u200ber rubrum", "Acer rubrum"),
    ("Аcer rubrum", "Acer rubrum"),  # the first letter is Cyrillic
    ("Acer rubrum\x00", "Acer rubrum"),
]
UNKNOWN = [
    None,
    float("nan"),
    pd.NA,
    "",
    "   ",
    "unknown",
    "Unbekannt",
    "sconosciuta",
    "Indeterminata",
    "???",
    "n/a",
]
UNKNOWN += [
    "12",
    "Foo bar",
    "Gehölze",
    "Клен остролистный",
    "{{7*7}}",
    "<script>",
    "x" * 5000,
    "A. x",
    "Tree unknown",
]


@pytest.mark.parametrize(("written", "name"), SURE)
def test_names_in_the_table_are_sure_however_they_are_written(written, name):
    match = matched_name(written)
    assert (match.scientific_name, match.name_sure, match.why) == (name, "sure", None)
    assert match.genus == name.split()[0]


@pytest.mark.parametrize(("written", "name"), DOUBTFUL)
def test_a_doubtful_match_says_what_the_name_was_taken_for(written, name):
    match = matched_name(written)
    assert (match.scientific_name, match.name_sure) == (name, "doubtful")
    assert match.genus == name.split()[0]
    assert name.removesuffix(".") in str(match.why)
    assert str(match.why).endswith(".") and not str(match.why).endswith("..")


@pytest.mark.parametrize("written", UNKNOWN, ids=lambda written: repr(written)[:20])
def test_a_name_that_says_nothing_is_unknown_and_nothing_is_invented(written):
    match = matched_name(written)
    assert (match.scientific_name, match.genus, match.common_name) == (None, None, None)
    assert match.name_sure == "unknown"
    assert str(match.why).endswith(".")


def test_the_frame_keeps_the_index_and_has_no_nan():
    names = pd.Series(["Acer rubrum", np.nan, "Quercus rober"], index=[7, 3, 5])
    frame = matched(names)
    assert list(frame.index) == [7, 3, 5]
    assert list(frame.columns) == ["scientific_name", "genus", "common_name", "name_sure", "why"]
    assert frame.loc[7].tolist() == ["Acer rubrum", "Acer", "red maple", "sure", None]
    assert frame.loc[3, "scientific_name"] is None
    assert frame.loc[5, "name_sure"] == "doubtful"


def test_an_array_is_taken_and_an_empty_one_gives_an_empty_frame():
    assert matched(np.array(["Acer rubrum"], dtype=object)).loc[0, "genus"] == "Acer"
    assert matched([]).shape == (0, 5)


def test_the_sign_of_a_hybrid_makes_no_difference():
    """International Code of Nomenclature, article H.3 (from memory)."""
    written = [
        "Platanus x acerifolia",
        "Platanus acerifolia",
        "PLATANUS ACERIFOLIA X",
        "Platanus × acerifolia",
    ]
    assert matched(written)["scientific_name"].nunique() == 1


def test_no_author_is_ever_in_a_scientific_name():
    frame = matched(["Fagus sylvatica L.", "Acer griseum (Franch.) Pax", "Tilia tomentosa Moench"])
    assert frame["scientific_name"].tolist() == ["Fagus sylvatica", "Acer griseum", "Tilia tomentosa"]


def test_the_table_is_the_published_one_with_more_species_beside_it():
    """US Forest Service, FIADB REF_SPECIES: 2,697 taxa; values of Acer rubrum and Tsuga canadensis."""
    table = species_table()
    assert (table["source"] == "US Forest Service, FIADB table REF_SPECIES").sum() == 2697
    assert table.loc["Tsuga canadensis", "softwood_hardwood"] == "S"
    assert table.loc["Acer rubrum", "stump_profile_b_outside_bark"] > 0
    assert np.isnan(table.loc["Abies alba", "stump_profile_b_outside_bark"])
    assert table.index.is_unique


def test_every_other_name_leads_to_a_name_of_the_table():
    from layers.species import _csv

    other = _csv("species_other_names.csv")
    assert set(other["scientific_name"]) <= set(species_table().index)
    assert not set(other["other_name"]) & set(species_table().index)
    assert other["other_name"].str.casefold().is_unique


def test_softwood_or_hardwood_is_known_by_genus():
    assert [softwood_or_hardwood(g) for g in ("Pinus", "Larix", "Cedrus", "Quercus", "Prunus")] == [
        "softwood",
        "softwood",
        "softwood",
        "hardwood",
        "hardwood",
    ]
    assert softwood_or_hardwood("Nonsense") is None
    assert softwood_or_hardwood(None) is None


def test_two_thousand_misspelt_names_take_less_than_a_second():
    matched_name("Acer")
    genera = species_table()["genus"].unique()[:400]
    names = [f"{genus[:-1]}{ending} {epithet}" for genus in genera for ending in "yz" for epithet in "abc"]
    names = [f"{name}lbba" for name in names][:1000] + [f"norwegan maaple {i}" for i in range(1000)]
    start = time.process_time()
    matched(names)
    assert time.process_time() - start < 1.0
