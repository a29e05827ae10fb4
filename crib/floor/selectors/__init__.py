"""What the floor looks like now, read from the running totals and never from the runs."""

from crib.floor.duty import spindle_speed_of as spindle_speed
from crib.floor.selectors.boards import (
    AssemblyNow,
    Fitted,
    MachineBoard,
    PocketNow,
    assemblies_now,
    fitted_in,
    machine_boards,
    pocket_now,
)
from crib.floor.selectors.choices import assemblies_for, free_parts, items_for, loose_tips_for
from crib.floor.selectors.excuses import counted_again_since, excused_among
from crib.floor.selectors.jobs import (
    edges_at,
    edges_working_at,
    jobs_with_work,
    loads_for,
    operation_in_full,
    operations_of,
    operations_to_keep_for,
    runs_logged,
    tool_limits,
)
from crib.floor.selectors.search import Hit, SearchAnswer, search_shop, suggest
from crib.floor.selectors.work import (
    edges_at_work,
    open_load,
    open_operations,
    operation_for,
    operation_now,
    operations_at,
    operations_of_tip,
)

__all__ = [
    "AssemblyNow",
    "Fitted",
    "Hit",
    "MachineBoard",
    "PocketNow",
    "SearchAnswer",
    "assemblies_for",
    "assemblies_now",
    "counted_again_since",
    "edges_at",
    "edges_at_work",
    "edges_working_at",
    "excused_among",
    "fitted_in",
    "free_parts",
    "items_for",
    "jobs_with_work",
    "loads_for",
    "loose_tips_for",
    "machine_boards",
    "open_load",
    "open_operations",
    "operation_for",
    "operation_in_full",
    "operation_now",
    "operations_at",
    "operations_of",
    "operations_of_tip",
    "operations_to_keep_for",
    "pocket_now",
    "runs_logged",
    "search_shop",
    "spindle_speed",
    "suggest",
    "tool_limits",
]
