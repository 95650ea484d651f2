"""How findings about single pieces, places and masses are worded."""

from plumbstone.cli.wording.sentences import Worded, filled, one_of
from plumbstone.cli.wording.units import Units, show_length
from plumbstone.meshes.ranges import Range
from plumbstone.meshes.telling import percent
from plumbstone.volumes.findings import NO_LINE, Finding, Kind
from plumbstone.volumes.water.loads import lift_code

LIFTS = {
    "one person": "heavy for one person: lift it close to the body, or with two people",
    "help": (
        "more than the common screening figure for one fit adult: lift it with help or a hoist; "
        "less for children, older or pregnant people"
    ),
}


def lift_words(mass: Range) -> str:
    """Say how to lift a piece of this mass [kg]; empty where a hand does."""
    return LIFTS.get(lift_code(mass), "")


def doubtful(finding: Finding, units: Units) -> str:
    """Pass on what makes a form or a mass doubtful, or that there is no water line."""
    floats = f", and whether {' and '.join(finding.about)} floats" if finding.about else ""
    words = DRY if finding.how == NO_LINE else "{name}: {how}"
    return filled(words, finding, units, floats=floats)


def buried(finding: Finding, units: Units) -> str:
    """Say that a piece is hardly seen, or pressed down to the glass."""
    share = finding.number("share") if "share" in finding.numbers else 0.0
    return filled(BURIED[finding.how], finding, units, most=percent(min(share, 0.99)))


DRY = (
    "No water line is known, so water, load and what may tip are not computed{floats}: write the "
    "tank's height, or water_line."
)


def short(finding: Finding, units: Units) -> str:
    """Say that a place is not deep enough for its plant."""
    asked = show_length(finding.number("depth_m") + finding.number("lacking_m"), units)
    return filled(SHORT[finding.how], finding, units, asked=asked)


SHORT = {
    "over a piece": (
        "{name}: lies over a stone or wood, with {depth_m} of substrate on it; its roots need "
        "{asked}: plant beside."
    ),
    "roots": (
        "{name}: {depth_m} of substrate, its roots need {asked}; raise it by {lacking_m} there."
    ),
}
MISFIT = {
    "stand": (
        "The tank reaches {short_m} over its stand; ask its maker and the stand maker what must "
        "lie under its panes."
    ),
    "opening": "{name}: does not pass the opening inside the bracing; take a narrower one.",
    "lamp": "{name}: reaches {above_m:length up} above the lamp's lower edge; raise the lamp.",
    "near pane": (
        "{name}: {mass_kg}, drawn {gap_m:gap} off the {where} pane, which it may hit as it is set "
        "down; leave 2 cm there, and ask the maker of the tank."
    ),
    "rim": "{name}: stands {above_m:length up} above the rim.",
    "out of water": (
        "The bed reaches {above_m} out of the water; lower it or raise the water line, unless it "
        "is meant to be dry there."
    ),
}
BURIED = {
    "to the glass": (
        "{name}: pressed in by {pressed_m} it stands on the glass; set it there on a pad before "
        "the soil, or press it in less."
    ),
    "on no bed": '{name}: pressed counts only on the bed: write rests = "bed", or drop it.',
    "wholly": "{name}: lies wholly under the bed; raise it, or leave it out.",
    "mostly": "{name}: {most} of it lies under the bed.",
}
OVER_LIMIT = {
    "sump": "When the pump stops, {volume_m3} drain back; the sump has room for {spare_m3}.",
    **{how: f"Heaviest lift: {{name}}, {{mass_kg}}; {words}." for how, words in LIFTS.items()},
}
WORDED: dict[Kind, Worded] = {
    Kind.MISFIT: one_of(MISFIT),
    Kind.BURIED: buried,
    Kind.DOUBTFUL: doubtful,
    Kind.SHORT: short,
    Kind.OVER_LIMIT: one_of(OVER_LIMIT),
}
