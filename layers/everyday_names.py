"""The everyday names of kinds that stand on many grounds, for translators; all others stay as they are.

The English names are those of the species table and of usual lists.
"""

from collections.abc import Mapping

from layers.translating import N_

EVERYDAY: tuple[str, ...] = (
    *(N_("Norway maple"), N_("sycamore maple"), N_("field maple"), N_("hedge maple"), N_("red maple")),
    *(N_("sugar maple"), N_("silver maple"), N_("boxelder"), N_("Japanese maple"), N_("maple spp.")),
    *(N_("horse chestnut"), N_("red horse chestnut"), N_("European chestnut"), N_("sweet chestnut")),
    *(N_("silver birch"), N_("European white birch"), N_("downy birch"), N_("river birch"), N_("birch spp.")),
    *(N_("hornbeam"), N_("European hornbeam"), N_("beech"), N_("European beech"), N_("American beech")),
    *(N_("pedunculate oak"), N_("English oak"), N_("sessile oak"), N_("northern red oak"), N_("white oak")),
    *(N_("pin oak"), N_("bur oak"), N_("Turkey oak"), N_("oak spp.")),
    *(N_("small-leaved lime"), N_("littleleaf linden"), N_("large-leaved lime"), N_("silver lime")),
    *(N_("American basswood"), N_("common lime")),
    *(N_("ash"), N_("European ash"), N_("white ash"), N_("green ash"), N_("ash spp.")),
    *(N_("rowan"), N_("European mountain-ash"), N_("wild service tree"), N_("common whitebeam")),
    *(N_("wild cherry"), N_("bird cherry"), N_("black cherry"), N_("cherry and plum spp."), N_("apple")),
    *(N_("cultivated apple"), N_("pear"), N_("common pear"), N_("Japanese flowering crab apple")),
    *(N_("apple spp."), N_("willow spp."), N_("white willow"), N_("weeping willow"), N_("goat willow")),
    *(N_("black poplar"), N_("aspen"), N_("European aspen"), N_("white poplar"), N_("eastern cottonwood")),
    *(N_("common alder"), N_("black alder"), N_("European alder"), N_("wych elm"), N_("field elm")),
    *(N_("American elm"), N_("London plane"), N_("American sycamore"), N_("black locust"), N_("honeylocust")),
    *(N_("tulip tree"), N_("sweetgum"), N_("ginkgo"), N_("Turkish hazel"), N_("common hazel")),
    *(N_("black walnut"), N_("English walnut"), N_("common walnut"), N_("shagbark hickory")),
    *(
        N_("hackberry"),
        N_("eastern redbud"),
        N_("common hawthorn"),
        N_("English holly"),
        N_("yew"),
        N_("English yew"),
    ),
    *(
        N_("Scots pine"),
        N_("Austrian pine"),
        N_("eastern white pine"),
        N_("Norway spruce"),
        N_("blue spruce"),
    ),
    *(N_("blue spruce"), N_("silver fir"), N_("Douglas-fir"), N_("European larch"), N_("baldcypress")),
    *(N_("northern white-cedar"), N_("yew"), N_("English yew")),
)
WORDS = {f"everyday.{name}": name for name in EVERYDAY}


def in_words(name: str, words: Mapping[str, str]) -> str:
    """Return a name as the words of a paper have it, as it is where they do not know it."""
    return words.get(f"everyday.{name}", name)
