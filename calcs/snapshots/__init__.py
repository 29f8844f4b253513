"""From the record to the engine's input documents.

Points name everything on the frame: a support, and a strap's hook, go by the key of their point. Connections, straps,
drain runs, setups and readings go by their own keys. Keys stay when labels are changed; pages put the labels back
(``labels``).
"""

from calcs.snapshots.drains import drains_input
from calcs.snapshots.frames import frame_input, held_lines, passes_input
from calcs.snapshots.joined import doubtful_points, joined_input
from calcs.snapshots.lifts import OPTIONS, SURE, lift_input, touched_points
from calcs.snapshots.readings import flatness_input, levels_input, reading_sd_in
from calcs.snapshots.record import Line, Record, canonical, sha256_of
from calcs.snapshots.stacks import stacks_input, supports_input
from calcs.snapshots.straps import strap_spacing_input, strap_tension_input, straps_input
from calcs.snapshots.years import Compared, compared, forecast_input, movement_between, movement_input

__all__ = [
    "OPTIONS",
    "SURE",
    "Compared",
    "Line",
    "Record",
    "canonical",
    "compared",
    "doubtful_points",
    "drains_input",
    "flatness_input",
    "forecast_input",
    "frame_input",
    "held_lines",
    "joined_input",
    "levels_input",
    "lift_input",
    "movement_between",
    "movement_input",
    "passes_input",
    "reading_sd_in",
    "sha256_of",
    "stacks_input",
    "strap_spacing_input",
    "strap_tension_input",
    "straps_input",
    "supports_input",
    "touched_points",
]
