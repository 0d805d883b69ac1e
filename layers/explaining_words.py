"""What is said of the equations and sources that numbers rest on; pages show them translated."""

from dataclasses import dataclass

from layers.translating import N_

BRACK_WOOD = "Brack, C. L. and Wood, G. B. 1998. Forest measurement and modelling, stem basal area. ANU"
CHOJNACKY_ROGERS = (
    "Chojnacky, D. C. and Rogers, P. 1999. Western Journal of Applied Forestry 14(1):14-17, figure 1"
)
RAILE = "Raile, G. K. 1982. Estimating stump volume. USDA Forest Service Research Paper NC-224"
COEFFICIENTS = "USDA Forest Service, FIADB, table REF_SPECIES, column RAILE_STUMP_DOB_B1"
AITKEN = (
    "Aitken, A. C. 1936. On least squares and linear combinations of observations. "
    "Proceedings of the Royal Society of Edinburgh 55:42-48 (from memory)"
)
REINEKE = (
    "Reineke, L. H. 1933. Perfecting a stand-density index for even-aged forests. "
    "Journal of Agricultural Research 46:627-638"
)
SHANNON = (
    "Shannon, C. E. 1948. A mathematical theory of communication. Bell System Technical Journal 27:379-423"
)
SIMPSON = "Simpson, E. H. 1949. Measurement of diversity. Nature 163:688"
CLARK_EVANS = (
    "Clark, P. J. and Evans, F. C. 1954. Distance to nearest neighbor as a measure of spatial relationships "
    "in populations. Ecology 35:445-453"
)
KARNEY = "Karney, C. F. F. 2013. Algorithms for geodesics. Journal of Geodesy 87:43-55"
SATTERTHWAITE = "Satterthwaite, F. E. 1946. Biometrics Bulletin 2:110-114"
LUOMA = "Luoma et al. 2017, Forests 8(2):38"


@dataclass(frozen=True)
class Equation:
    """An equation in words and as a formula, with its published sources; none is arithmetic."""

    words: str
    formula: str
    sources: tuple[str, ...] = ()


EQUATIONS: dict[str, Equation] = {
    "stem_size": Equation(
        N_(
            "Each measurement is brought to a width at breast height: what was read, divided by π where it "
            "went round the trunk, times the factor between the two heights. Those of the latest round are "
            "averaged; the better one counts more."
        ),
        "dᵣ = value × cm per unit ÷ π ÷ tilt × (1 + B f(H)) ÷ (1 + B f(h)) − bias;  f(h) = (4.5 − h) ÷ "
        "(h + 1), h in ft;  d = Σ wᵣ dᵣ",
        (RAILE, COEFFICIENTS),
    ),
    "tree_size": Equation(
        N_("The width of one trunk that has the cut face of all trunks of the tree together."),
        "d = √(Σ dᵢ²)",
        (CHOJNACKY_ROGERS,),
    ),
    "growth": Equation(
        N_(
            "A straight line goes through the widths of all measuring days, brought to breast height as for "
            "the size; what is better known counts more. Its slope is the sum of the widths times their "
            "weights; of several trunks each counts by its share of the width of the tree."
        ),
        "g = Σ wᵣ dᵣ, Σ wᵣ = 0;  w = (XᵀC⁻¹X)⁻¹XᵀC⁻¹",
        (AITKEN, RAILE, COEFFICIENTS),
    ),
    "increment": Equation(
        N_(
            "Of every trunk that was measured on both days, the difference of the two widths at breast "
            "height is divided by the years between; these are averaged."
        ),
        "Σ (d₂ − d₁) ÷ years ÷ n = Σ wᵣ dᵣ",
        (RAILE, COEFFICIENTS),
    ),
    "count": Equation(N_("What is written down is counted."), "N = Σ nᵢ"),
    "count_per_ha": Equation(
        N_("What is written down is counted, and divided by the size of the ground."), "N ÷ A"
    ),
    "sum_of_faces": Equation(
        N_("The cut faces of all measured trunks at breast height are added up."),
        "G = Σ π/4 dᵢ² ÷ 10000",
        (BRACK_WOOD,),
    ),
    "faces_per_ha": Equation(
        N_("The cut faces of all measured trunks are added up, and divided by the size of the ground."),
        "G ÷ A = Σ π/4 dᵢ² ÷ 10000 ÷ A",
        (BRACK_WOOD,),
    ),
    "mean_width": Equation(N_("The widths of all measured trunks are averaged."), "Σ dᵢ ÷ n"),
    "quadratic_mean": Equation(
        N_("The width of the trunk with the mean cut face."), "√(Σ dᵢ² ÷ n)", (BRACK_WOOD,)
    ),
    "density_sum": Equation(
        N_("What each measured trunk adds to the density of the stand, divided by the size of the ground."),
        "Σ (dᵢ ÷ 25.4)^1.605 ÷ A",
        (REINEKE,),
    ),
    "density_mean": Equation(
        N_("Trunks on the ground, weighed by the width of the trunk with the mean cut face."),
        "n ÷ A × (√(Σ dᵢ² ÷ n) ÷ 25.4)^1.605",
        (REINEKE,),
    ),
    "shannon": Equation(
        N_("How mixed the kinds are: of the share of each kind, the share times its logarithm, added up."),
        "−Σ pₖ ln pₖ, pₖ = nₖ ÷ Σ n",
        (SHANNON,),
    ),
    "simpson": Equation(
        N_("How likely two trees picked at random are of different kinds."),
        "1 − Σ pₖ², pₖ = nₖ ÷ Σ n",
        (SIMPSON,),
    ),
    "clark_evans": Equation(
        N_("The mean distance to the nearest other tree, over that of trees strewn at random."),
        "2 × mean rᵢ × √(n ÷ (10000 A))",
        (CLARK_EVANS,),
    ),
    "ground": Equation(N_("The size of the outline on the globe, or as it was typed."), "A", (KARNEY,)),
}

OWN_OF_MANY = N_(
    "published for trained people with a tape (Luoma et al. 2017, Forests 8(2):38), assumed for all others"
)
OF_THE_GROUND = N_("as said of the ground, or of the plan that it was drawn on")
COUNTED_ALL = N_("A complete list has no error of sampling; what nobody wrote down is not in it.")
OF_CLASSES = N_("No error is given: a trunk whose width is near a limit may belong to the class beside.")
NO_ERROR_GIVEN = N_("No error is worked out for this number.")
"""Sentences that an explanation may hold; translated where they are shown."""

SENTENCES = (OWN_OF_MANY, OF_THE_GROUND, COUNTED_ALL, OF_CLASSES, NO_ERROR_GIVEN)

BETTER: dict[str, str] = {
    "taper": N_("measure at breast height"),
    "departure": N_("measure at breast height"),
    "instrument": N_("a second team or a reference tape"),
    "crew": N_("a second team or a reference tape"),
    "calibration": N_("measure the hands again, more often"),
    "height": N_("write the height of measuring down"),
    "area": N_("survey the boundary"),
    "edge": N_("measure where the trees near the edge stand"),
    "own": N_("read each trunk twice"),
}
"""What would make a number better, by the kind of cause that has the largest part of its error."""
