"""The cutting workings, in the order the register lists them."""

from calc.workings.chamfer_edge import CHAMFER_EDGE
from calc.workings.chamfer_hole import CHAMFER_HOLE
from calc.workings.contact import CHIP_THINNING, CORNER_FEED, EFFECTIVE_DIAMETER
from calc.workings.holes import DRILLING, TAPPING
from calc.workings.milling import MILLING
from calc.workings.threading import THREAD
from calc.workings.turning import FACING, TURNING

WORKINGS = (
    MILLING,
    DRILLING,
    TURNING,
    FACING,
    TAPPING,
    THREAD,
    CHAMFER_EDGE,
    CHAMFER_HOLE,
    EFFECTIVE_DIAMETER,
    CHIP_THINNING,
    CORNER_FEED,
)
