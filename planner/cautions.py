"""Cautions for jobs that can hurt people, fish or those who eat the produce.

They are common practice unless a source stands beside them, and they never replace local rules
or a licensed trade.
"""

from collections.abc import Iterable

from planner.tables import Crop, Fish
from planner.words import Units, plain, spoken, temperature

CUT_LEAF_C = 5.0  # highest temperature of cut leafy greens: US FDA Food Code, from memory
WATER_CARE = (
    "Care: unplug pumps and heaters before you reach into a tank or filter; sockets behind a GFCI"
    " or RCD, by a licensed electrician. Potassium hydroxide and lime burn: goggles, gloves, base"
    " into water, never on fish, pH by at most 0.2 to 0.3 a day. Feed less while TAN or nitrite is"
    " high or oxygen low. Local rules on water and chemicals come first."
)
CLEAR_CARE = (
    "Care: keep disinfectant out of the system water, where it harms fish and filter bacteria;"
    " follow its label."
)


def fish_care(stocked: Iterable[Fish]) -> str:
    """Return the caution for work with fish, and what the law says on those that come in."""
    text = (
        "Care: cover cuts, wear gloves, mind the spines and wash your hands, for fish and their"
        " water can carry disease. Unplug pumps and heaters before you reach in; sockets behind a"
        " GFCI or RCD, by a licensed electrician. Cut leaf before you handle fish. Stunning,"
        " moving and sale are bound by local law."
    )
    return " ".join(
        [text, *(f"{plain(fish.name)}: {plain(fish.legal_caution)}" for fish in stocked)]
    )


def food_care(crops: Iterable[Crop], units: Units) -> str:
    """Return the caution before a harvest; leaf is chilled as far as each crop bears it.

    Two hours between fish or filter work and leaf is this planner's own rule; the topics are those
    of Hollyer et al., On-farm food safety: aquaponics, University of Hawaii CTAHR FST-38, 2009.
    """
    leafy = [crop for crop in crops if crop.feed_rate_class == "leafy"]
    tender = [crop for crop in leafy if crop.storage_temp_c > CUT_LEAF_C]
    text = (
        "Care: wash hands and knives, clean crates, keep fish water off what is eaten, no fish or"
        " filter work in the 2 hours before."
    )
    if len(leafy) > len(tender):
        text += f" Chill cut leaf at once, to {temperature(CUT_LEAF_C, units)} or below."
    for crop in tender:
        store = temperature(crop.storage_temp_c, units)
        text += f" Keep {spoken(crop.name)} at {store}, not colder."
    return f"{text} Follow your local food code."
