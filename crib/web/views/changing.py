"""When to change at an operation, in parts and money, as its page shows it."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings
from django.utils.safestring import SafeString, mark_safe

from crib.floor.models import Operation
from crib.life import selectors
from crib.life.words import in_money, parts_in_words
from crib.planning.selectors import MonthParts, parts_of_month
from crib.web import charts, formats

NAMES = {"ours": "As advised", "today": "Today's fixed count", "to_end": "Run to the end"}
ORDER = ("ours", "today", "to_end")


@dataclass(frozen=True, slots=True)
class ShownPolicy:
    """One way of changing as a row: every number written."""

    name: str
    main: bool
    parts: str
    cost: str
    edge: str
    change: str
    failure: str
    chance: str
    edges: str
    failures: str
    batch: str
    month: str


@dataclass(frozen=True, slots=True)
class ChangingPanel:
    """The panel of an operation's page: advice, rows, chart, and how many edges to lay ready."""

    advice: selectors.ChangeAdvice
    rows: list[ShownPolicy]
    month: MonthParts | None
    staging: selectors.Staging
    chart: SafeString | None


def changing_panel(operation: Operation) -> ChangingPanel:
    """The ways of changing at an operation, drawn and written."""
    month = parts_of_month(operation=operation)
    advice = selectors.change_advice(operation=operation, month_parts=month.parts if month else None)
    found = {policy.name: policy for policy in advice.policies}
    rows = [_row(found[name], advice.batch_left) for name in ORDER if name in found]
    return ChangingPanel(
        advice, rows, month, selectors.staging_at(operation=operation), _chart(advice) if advice.curve else None
    )


def _row(policy: selectors.Policy, batch_left: int) -> ShownPolicy:
    return ShownPolicy(
        name=NAMES[policy.name],
        main=policy.name == "ours",
        parts="at its end" if policy.parts is None else f"after {parts_in_words(policy.parts)}",
        cost=in_money(policy.cost),
        edge=in_money(policy.edge),
        change=in_money(policy.change),
        failure=in_money(policy.failure),
        chance=formats.share(policy.chance_of_failure),
        edges=formats.number(policy.edges_per_1000, figures=3),
        failures=formats.number(policy.failures_per_1000, figures=2),
        batch=formats.money(policy.rest_of_batch if batch_left else None, settings.CURRENCY),
        month=formats.money(policy.month, settings.CURRENCY),
    )


def _chart(advice: selectors.ChangeAdvice) -> SafeString:
    curve = advice.curve
    assert curve is not None  # asked for only where there is one
    marks = []
    for name, words, tone in (("today", "today", "info"), ("ours", "advised", "bad")):
        policy = advice.policy(name)
        if policy is not None and policy.parts is not None:
            marks.append(charts.Mark(policy.parts, words, tone))
    title = "Cost of a part against the count at which edges are changed"
    counts = [float(count) for count in curve.counts]
    drawn = charts.lines(
        [
            charts.Series("together", counts, curve.total),
            charts.Series("edges and changes", counts, curve.changing),
            charts.Series("failures", counts, curve.failing),
        ],
        title=title,
        says=" ".join(advice.says),
        x_label="parts for each edge",
        y_label=f"{settings.CURRENCY} a part",
        marks=marks,
    )
    step = max(len(curve.counts) // 15, 1)
    marked = {policy.parts for policy in advice.policies}
    rows = [
        [formats.parts(count), in_money(total), in_money(changing), in_money(failing)]
        for place, (count, total, changing, failing) in enumerate(
            zip(curve.counts, curve.total, curve.changing, curve.failing, strict=True)
        )
        if place % step == 0 or count in marked
    ]
    heads = ["Parts for each edge", "A part costs", "Edges and changes", "Failures"]
    return mark_safe(drawn + charts.data_table(title, heads, rows))  # both escaped
