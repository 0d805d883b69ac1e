"""How many trees of real lists get a sure name."""

import pandas as pd
import pytest

from layers.species import matched


def konstanz(inputs):
    return pd.read_csv(inputs / "konstanz/KN_Baumkataster_2020.csv", encoding="utf-8-sig")["Name_lat"]


def alessandria(inputs):
    rows = pd.read_csv(inputs / "alessandria/alberi.csv", sep=";")
    return rows.loc[rows["Tipologia"] == "Albero", "Essenza"]


def vancouver(inputs):
    rows = pd.read_csv(inputs / "vancouver/vancouver_3_neighbourhoods.csv")
    parts = (rows[name].fillna("") for name in ("genus_name", "species_name", "cultivar_name"))
    return pd.Series([" ".join(words) for words in zip(*parts, strict=True)])


def macleish(inputs):
    plots = ("macleish/MC-01.csv", "macleish/MC-02.csv")
    return pd.concat([pd.read_csv(inputs / plot)["Species"] for plot in plots])


@pytest.mark.parametrize("names_of", [konstanz, alessandria, vancouver, macleish])
def test_more_than_97_in_100_trees_of_a_real_list_have_a_sure_name(inputs, names_of):
    trees = names_of(inputs).value_counts(dropna=False)
    names = matched(trees.index.to_series(index=range(len(trees))))
    weight = pd.Series(trees.to_numpy())
    assert weight[names["name_sure"] == "sure"].sum() / weight.sum() > 0.97
    assert names.loc[names["name_sure"] != "sure", "why"].notna().all()
    assert weight[names["scientific_name"].isna()].sum() / weight.sum() < 0.003
