"""Colours of all pictures: by material, never by order, so that one colour means one thing."""

import zlib

from plumbstone.volumes.scape.materials import Material

INK, FAINT, PAPER = "#1c2b33", "#66757d", "#fefdfb"
MARK, WARN = "#1f5f8b", "#a8431d"  # words and lines for levels of water, and where to stop
STONE, WOOD, WATER, GLASS = "#8d99a3", "#b5763a", "#3f8fc4", "#9fd0c4"
# Of a scan: guessed parts, what was cut away, and what may be another thing.
CLOSED, AWAY, OTHER = "#c0562f", "#cdb98a", "#4b3f8f"
# Told apart by lightness as well as hue, so that they hold for colour-blind readers and in grey.
BY_MATERIAL = {
    "sand": "#dcc48f", "fine sand": "#ebdcb4", "gravel": "#b3a58d", "wedge gravel": "#95897a",
    "stone chips": "#77716a", "baked-clay soil": "#553f30", "fine baked-clay soil": "#73594a",
    "nutrient base": "#332d28", "lava gravel": "#8a4a40", "pumice gravel": "#d2ccc0",
    "expanded clay": "#b06a40",
    "granite": "#a99c96", "basalt": "#67737a", "andesite": "#7c8480", "limestone": "#c6bca3",
    "dolomite": "#b7afa2", "marble": "#dcdad5", "sandstone": "#c99f6e", "shale": "#5b5f66",
    "slate": "#71808f", "quartzite": "#cdbaab", "mica schist": "#8f9186", "gneiss": "#99928c",
    "unknown stone": STONE, "lava rock": "#80504a", "pumice stone": "#cac4b7",
    "petrified wood": "#a4754f", "concrete": "#b3b3ae",
    "driftwood": WOOD, "oak wood": "#94653c", "red oak wood": "#a05f3c", "beech wood": "#c39062",
    "bog wood": "#5f4632", "cork bark": "#a98056", "mopane wood": "#7d5234",
    "azalea root": "#b98457", "olive wood": "#b58a4e",
}  # fmt: skip
OTHERS = {
    "substrate": ("#8c7d66", "#a8967c", "#6d6354"),
    "stone": (STONE, "#7d8a86", "#a39a8e"),
    "wood": (WOOD, "#a06a3c", "#c28a52"),
}
# Lines only: rings and dots would make a page ten times as large.
HATCHES = {
    "gravel": "--", "wedge gravel": "||", "stone chips": "++", "nutrient base": "\\\\",
    "lava gravel": "//", "pumice gravel": "xx", "expanded clay": "\\\\",
}  # fmt: skip


def colour_of(material: Material) -> str:
    """Give the colour of a material; one of the user's own takes one by its name."""
    known = BY_MATERIAL.get(material.key)
    if known is not None:
        return known
    others = OTHERS.get(material.kind, OTHERS["substrate"])
    return others[zlib.crc32(material.key.encode()) % len(others)]


def hatch_of(material: Material) -> str:
    """Give the hatching of a substrate on a cut."""
    return HATCHES.get(material.key, "")


def rgb(colour: str) -> tuple[float, float, float]:
    """Red, green and blue of "#rrggbb" [-], 0 to 1."""
    red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    return red, green, blue
