"""Names of the fields and buttons of the page."""

from plumbstone.meshes.telling import valued

WEIGH = "Weigh"
STOCK = "Stock"
TANKS = "Tanks"
DOORS = "Doors"

WEIGH_TITLE = "What does it weigh?"
USE_SCAN = "Use a scan instead"
OTHER_SCAN = "Use another scan"
STOP = "Stop"
DROP_HERE = "or drop one here"
WEIGHING = "Weighing"
ANSWER = "Answer"
SCANS = "Scans"
BUDGET = "Money you have"
MORE = "Till, opening, a known length"
KNOWN = "Known thing"
KNOWN_THING = f"{KNOWN} beside it: card, A4, can 66 x 115 mm"
LONGEST = "Greatest distance"
ACROSS = "Greatest width"
ONE_PIECE = "All of the scan is one piece"
UNIT = "Unit of the scan"
UNITS = f"{UNIT}: m, cm, mm or in"
KEEP = "Keep it in the stock"
SEARCH_MATERIAL = "Rock or wood: type to search"
MATERIALS = "Rocks and woods"
PUT_AWAY = "Put the scan away"
TURNED_SCAN = "Add the scan of the turned stone"

TAKE_OFF = "Take off the list"
START_TANK = "Start a new tank in four steps"
COMPARE_TWO = "Compare two"
COMPARE = "Compare"
THIS_ONE = "This one"
THAT_ONE = "and that one"

ABOVE = "From above, the back on top"
FRONT = "From the front"
UNDO = "Undo"
REDO = "Redo"
BORDER = "Border"
PULL_SOIL = "Soil"
ROW_DONE = "Done: this is the row"
TAKE_THEIRS = "Take the file as it is"
WRITE_MINE = "Write my change over it"
TURN_IN_3D = "Turn it in 3D"
SOIL_AND_BAGS = "Soil and its bags"
TANK_AND_GLASS = "Tank and glass"
ADD_PIECE = "Add a stone or wood"
FROM_STOCK = "Add from the stock"
RESULTS = "Build sheet, drawings, versions"
KEYS = "Keys"

CHOSEN = "Chosen piece"
FROM_LEFT = "From left"
FROM_FRONT = "From front"
TURN = "Turn °"
TILT = "Tilt °"
PRESSED = "Pressed in"
WEIGHED = "Weighed"
JUST_SINKS = "Just sinks with, in a tub ({mass} granite)"
MADE_OF = "Made of"
SETTLES = "Lies (settle)"
AS_DRAWN = "as drawn"
TURNS = "turns to rest"
STANDS_ON = "Stands on"
THE_GLASS = "the glass"
THE_BED = "the bed"
COPY = "Copy"
MIRROR = "Mirror"
TAKE_OUT = "Take out"
TIE = "Tie to wood"

LAYER = "Layer"
NEW_LAYER = "New layer of"
WHERE = "Where"
WHICH_BORDER = "Which border"
ADD_LAYER = "Add the layer"
LAYER_OUT = "Take the layer out"
ALL_OVER = "All over"
ADD_MOUND = "Add a mound"
MOUND_RISE = "Mound: rise"
MOUND_RADIUS = "Mound: radius"
MOUND_AWAY = "Take the mound away"
ADD_TERRACE = "Add a terrace"
SLOPE = "Slope: front and back"
CORNERS_APART = "Each corner by itself"
BAG_HOLDS = "Bag holds"
BAG_PRICE = "Price of it"
ADD_BAG = "Add a size of bag"
BAG_AWAY = "Take the last bag away"

INSIDE_LENGTH = "Length inside"
INSIDE_DEPTH = "Depth inside"
INSIDE_HEIGHT = "Height inside"
GLASS = "Glass, thick"
NAME_OF_IT = "Name of it"
SHAPE = "Shape"
SET_IN = "Set it into the tank"
WRITE_RESULTS = "Write build sheet and drawings"
VERSION_NAME = "Name of this version"
SECOND_TRY = "Second try"
KEEP_VERSION = "Keep it as a version"
COMPARE_WITH = "Compare with another version or tank"

NEW_TANK = "A new tank"
MY_TANK = "My tank"
QUESTIONS = "Questions"
BACK = "Back"
NEXT = "Next"
LAY_OUT = "Lay it out"
SOIL = "Soil"
SOIL_FRONT = "Soil at the front"
SOIL_BACK = "Soil at the back"
A_BAG_HOLDS = "A bag holds"
ITS_PRICE = "Its price"
A_ROW = "A row of stones before the soil"
ROCK = "Rock"
ROW_FROM_FRONT = "The row stands from the front"
STONES_HIGH = "Its stones are high"
A_PIECE_OF_WOOD = "A piece of wood"
WOOD = "Wood"
IT_IS_LONG = "It is long"
GIRTH = "Around its thick end"

NAME = "Name"
STONE = "Stone"
LENGTH = "Length"
WIDTH = "Width"
DEPTH = "Depth"
HEIGHT = "Height"
LONG = "Long"
WIDE = "Wide"
HIGH = "High"

# What stands in the braces is a unit, a number or a material.
PRICE_PER = "Price per {}"
ON_TILL = "On the till ({})"
OPENING = "Opening ({}), such as 80 x 35"
LONGEST_IN = f"{LONGEST} across it ({{}}), by caliper"
ACROSS_IN = f"{ACROSS} at right angles to that ({{}})"
DRY_MASS = "Dry, on a scale ({}), if you know it"
SIDE_IN = "{} ({})"
POINT_LEVEL = "Point {} level"
TERRACE_FROM = "Terrace {} from"
TERRACE_LEVEL = "Terrace {} level"
ONLY = "only {}"


# Where the page offers what an option or a key does.
FIELDS = {
    "across": f'"{ACROSS}"',
    "known": f'"{KNOWN}"',
    "longest": f'"{LONGEST}"',
    "one-piece": f'tick "{ONE_PIECE}"',
    "picture": "the view below",
    "settle": f'"{SETTLES}" to "{TURNS}"',
    "size": "sides",
    "source": "the file",
    "unit": f'"{UNIT}"',
}


def as_field(thing: str, value: str = "") -> str:
    """Name a thing as the page does; what it has not is told as the command line's.

    Examples
    --------
    >>> as_field("longest", "24.3 cm"), as_field("limits")
    ('"Greatest distance" "24.3 cm"', 'limits of the command line')
    """
    return valued(FIELDS.get(thing, f"{thing} of the command line"), value)
