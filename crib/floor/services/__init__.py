"""What the floor does. One transaction each; whatever changes what an edge may be expected to last wakes the worker."""

from crib.floor.drafts import LoggedRuns, RefusedRun, RunDraft
from crib.floor.records import EdgeRecord, InspectionRecord, ToolRecord
from crib.floor.services.assemblies import build_assembly, fit_tip, measure_assembly, take_apart, take_out
from crib.floor.services.back_from_regrind import BackAs, reject, take_back_unsent, take_in, take_in_as
from crib.floor.services.counting import post_count
from crib.floor.services.edges import end_and_turn, end_edge, record_inspection, turn_edge
from crib.floor.services.excusing import MAY_BE_EXCUSED, count_again, excuse_end
from crib.floor.services.files import FileReport, import_run_file
from crib.floor.services.held import find_again, hand_on, let_go, take_all_back, write_all_lost, write_lost
from crib.floor.services.jobs import change_job, create_job, retire_job
from crib.floor.services.keeping import Proposal, keep_working, propose_keeping
from crib.floor.services.operations import change_operation, create_operation, recompute_minutes, retire_operation
from crib.floor.services.past import record_inspections, record_tools
from crib.floor.services.pockets import load_pocket, unload_pocket
from crib.floor.services.quick import log_parts
from crib.floor.services.regrinding import LooseTool, send_out
from crib.floor.services.runs import log_run, log_runs, reverse_run
from crib.floor.services.spent import throw_away
from crib.floor.services.swaps import EdgeEnd, NextTip, PocketSwap, TipSwap, swap_pocket, swap_tip

__all__ = [
    "MAY_BE_EXCUSED",
    "BackAs",
    "EdgeEnd",
    "EdgeRecord",
    "FileReport",
    "InspectionRecord",
    "LoggedRuns",
    "LooseTool",
    "NextTip",
    "PocketSwap",
    "Proposal",
    "RefusedRun",
    "RunDraft",
    "TipSwap",
    "ToolRecord",
    "build_assembly",
    "change_job",
    "change_operation",
    "count_again",
    "create_job",
    "create_operation",
    "end_and_turn",
    "end_edge",
    "excuse_end",
    "find_again",
    "fit_tip",
    "hand_on",
    "import_run_file",
    "keep_working",
    "let_go",
    "load_pocket",
    "log_parts",
    "log_run",
    "log_runs",
    "measure_assembly",
    "post_count",
    "propose_keeping",
    "recompute_minutes",
    "record_inspection",
    "record_inspections",
    "record_tools",
    "reject",
    "retire_job",
    "retire_operation",
    "reverse_run",
    "send_out",
    "swap_pocket",
    "swap_tip",
    "take_all_back",
    "take_apart",
    "take_back_unsent",
    "take_in",
    "take_in_as",
    "take_out",
    "throw_away",
    "turn_edge",
    "unload_pocket",
    "write_all_lost",
    "write_lost",
]
