"""The rights in the shop and the roles that carry them: the only list of either."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Right:
    """One thing that somebody may do; `codename` is the permission's name under the label `crib`."""

    codename: str
    says: str


RIGHTS = (
    Right("keep_catalogue", "May change designs, materials, machines, suppliers and offers"),
    Right("draw_tools", "May draw things at the counter and bring them back"),
    Right("keep_stock", "May hand out, receive, count, move and reverse for others"),
    Right("build_tools", "May build and take apart assemblies and load pockets"),
    Right("log_runs", "May log runs, end edges and record wear"),
    Right("keep_jobs", "May change jobs and operations"),
    Right("keep_life", "May refit the life models and change their starting values"),
    Right("keep_plans", "May enter production plans and budgets"),
    Right("place_orders", "May turn suggestions into orders"),
    Right("allow_more", "May let more go out than a limit says"),
    Right("receive_goods", "May receive what was ordered"),
    Right("keep_people", "May add people and set their roles"),
)

ROLES: dict[str, tuple[str, ...]] = {
    "machinist": ("draw_tools", "build_tools", "log_runs"),
    "attendant": ("draw_tools", "keep_stock", "build_tools", "receive_goods"),
    "planner": ("keep_plans", "place_orders", "receive_goods"),
    "engineer": ("keep_catalogue", "draw_tools", "build_tools", "log_runs", "keep_jobs", "keep_life"),
    "lead": tuple(right.codename for right in RIGHTS),
}
