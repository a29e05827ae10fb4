"""Tells the books what happened: tools built and loaded, goods that came and went, edges, runs and wear readings."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from crib.catalogue.models import Design, Job
from crib.floor import services as floor
from crib.floor.models import Assembly, Edge, Fitting, Run
from crib.floor.records import EdgeRecord, InspectionRecord, ToolRecord
from crib.management.demo.lots import Boxes, bad_lot, lot_number
from crib.management.demo.past import Past, PastEdge, PastTool, Seat
from crib.management.demo.regrinds import empty_the_box, goes_for_regrind
from crib.management.demo.scenario import Scenario, Step
from crib.management.demo.setting_up import Shop
from crib.management.demo.supplies import Delivery, Draw, Supplies
from crib.stock import services as stock
from crib.stock.models import Item, Move, Place
from crib.stock.selectors import on_hand

Progress = Callable[[str], None]
# The ledger is written in the order of its lines, so the last days are told day by day and the rest week by week.
DAY_BY_DAY = timedelta(days=14)
LOG_AT_ONCE = 4_000
BOX_EMPTIED = timedelta(days=14)


class LoaderError(Exception):
    """The services refused something that the scenario made up: the scenario is wrong."""


def whole_second(moment: datetime) -> datetime:
    """Times as a person or a control writes them."""
    return moment.replace(microsecond=0)


# --- tools that stand in the machines -------------------------------------------------------------------


def build_tools(scenario: Scenario, shop: Shop, past: Past) -> dict[str, Assembly]:
    """Receive bodies and holders, build the standing tools and load them into their pockets; by the seat's name."""
    start = shop.now - timedelta(weeks=scenario.story["weeks"])
    _receive_steel(scenario, shop, past.seats, start - timedelta(days=20))
    free = _free_pieces(shop)
    built: dict[str, Assembly] = {}
    for seat in past.seats:
        holder = holder_for(scenario, seat)
        body = free[seat.body].pop() if seat.body else None
        length, stick_out = _lengths(shop.designs[holder], shop.designs[seat.body or seat.tip])
        assembly = floor.build_assembly(
            holder=free[holder].pop(),
            body=body,
            name=f"{seat.tip} in {seat.machine}",
            gauge_length_mm=length,
            stick_out_mm=stick_out,
            who=shop.attendant,
            at=start - timedelta(days=5),
        )
        floor.load_pocket(
            machine=shop.machines[seat.machine],
            pocket=seat.pocket,
            assembly=assembly,
            who=shop.people[scenario.story["crew"][seat.machine][0]],
            at=start - timedelta(days=4),
        )
        built[seat.name] = assembly
    return built


def holder_for(scenario: Scenario, seat: Seat) -> str:
    """The holder that joins this machine's nose to the seat's body, or to its solid tool."""
    machine = next(row for row in scenario.machines if row["code"] == seat.machine)
    carried = scenario.design_rows[seat.body or seat.tip]
    for row in scenario.designs:
        nose = (row["machine_side_system"], row["machine_side_size"])
        work = (row["work_side_system"], row["work_side_size"])
        on_nose = row["kind"] == "holder" and nose == (machine["nose_system"], machine["nose_size"])
        if on_nose and work == (carried["machine_side_system"], carried["machine_side_size"]):
            return row["code"]
    raise LoaderError(f"No holder takes {carried['code']} on {seat.machine}.")


def _lengths(holder: Design, carried: Design) -> tuple[float, float]:
    stick_out = round((carried.length_mm or 60) * (0.7 if carried.shank_mm else 1), 1)
    return round((holder.length_mm or 80) + stick_out, 1), stick_out


def _receive_steel(scenario: Scenario, shop: Shop, seats: Sequence[Seat], at: datetime) -> None:
    """Bodies and holders: as many as stand in machines, one spare of each holder, one of each body."""
    wanted: Counter[str] = Counter({row["code"]: 1 for row in scenario.designs if row["kind"] in ("body", "holder")})
    for seat in seats:
        wanted[holder_for(scenario, seat)] += 1
        if seat.body:
            wanted[seat.body] += 1
    first_offers = {row["design"]: row["supplier"] for row in reversed(scenario.offers)}
    for number, (code, quantity) in enumerate(sorted(wanted.items())):
        stock.receive(
            design=shop.designs[code],
            quantity=quantity,
            to_place=shop.homes[code],
            supplier=shop.suppliers[first_offers[code]],
            who=shop.attendant,
            key=f"demo:steel:{code}",
            lot=f"{1000 + number}",
            at=at,
        )


def _free_pieces(shop: Shop) -> dict[str, list[Item]]:
    free: dict[str, list[Item]] = defaultdict(list)
    kinds = (Design.Kind.BODY, Design.Kind.HOLDER)
    for item in Item.objects.filter(design__kind__in=kinds).select_related("design", "place").order_by("-pk"):
        free[item.design.code].append(item)
    return free


# --- goods and tools, week by week ----------------------------------------------------------------------


def tell_goods_and_tools(
    scenario: Scenario,
    shop: Shop,
    past: Past,
    supplies: Supplies,
    assemblies: dict[str, Assembly],
    progress: Progress,
) -> list[tuple[PastTool, Fitting]]:
    """Post deliveries, hand-outs, fittings and removals in their order; answers each tool's fitting."""
    hands = {name: stock.place_of(person=person) for name, person in shop.people.items() if not person.is_counter}
    told: list[tuple[PastTool, Fitting]] = []
    boxes = Boxes(supplies.deliveries, bad_lot(scenario, shop.now))
    goods = _goods(scenario, shop, supplies, hands)
    first = min(draft.at for draft in goods if draft.at)
    box_emptied = False
    for since, until in _periods(first, shop.now):
        if not box_emptied and since > shop.now - BOX_EMPTIED:
            empty_the_box(shop, since)
            box_emptied = True
        moves = [draft for draft in goods if draft.at and since <= draft.at < until]
        stock.post_moves(drafts=moves, who=shop.attendant)
        tools = [tool for tool in past.tools if since <= whole_second(tool.fitted_at) < until]
        records = [_record(shop, tool, assemblies, hands, boxes) for tool in tools]
        told += zip(tools, floor.record_tools(records=records, who=shop.attendant), strict=True)
        if since < shop.now - DAY_BY_DAY:
            progress(f"Tools and stock up to {until:%d %B %Y}: {len(told):,} of {len(past.tools):,} tools")
    return told


def _periods(first: datetime, now: datetime) -> Iterator[tuple[datetime, datetime]]:
    since = first
    while since < now:
        step = timedelta(days=1) if since >= now - DAY_BY_DAY else timedelta(weeks=4)
        until = since + step
        if since < now - DAY_BY_DAY < until:
            until = now - DAY_BY_DAY
        yield since, min(until, now + timedelta(seconds=1))
        since = until


def _goods(scenario: Scenario, shop: Shop, supplies: Supplies, hands: dict[str, Place]) -> list[stock.MoveDraft]:
    from_supplier = {key: stock.place_of(supplier=supplier) for key, supplier in shop.suppliers.items()}
    clerks = [shop.people[name] for name in scenario.story["attendants"]]
    drafts = [
        _delivery(shop, number, one, from_supplier[one.supplier]) for number, one in enumerate(supplies.deliveries)
    ]
    for number, draw in enumerate(supplies.draws):
        drafts.append(_draw(shop, number, draw, hands[draw.person], clerks[number // 40 % len(clerks)].username))
    drafts += _loans(scenario, shop, hands)
    return sorted(drafts, key=lambda draft: (draft.at or shop.now, draft.why != Move.Why.RECEIVE))


def _delivery(shop: Shop, number: int, delivery: Delivery, supplier: Place) -> stock.MoveDraft:
    return stock.MoveDraft(
        design=shop.designs[delivery.design],
        quantity=delivery.quantity,
        from_place=supplier,
        to_place=shop.homes[delivery.design],
        key=f"demo:delivery:{number}",
        why=Move.Why.RECEIVE,
        lot=lot_number(number),
        who=shop.attendant,
        at=whole_second(delivery.at),
    )


def _draw(shop: Shop, number: int, draw: Draw, hand: Place, clerk: str) -> stock.MoveDraft:
    return stock.MoveDraft(
        design=shop.designs[draw.design],
        quantity=draw.quantity,
        from_place=shop.homes[draw.design],
        to_place=hand,
        key=f"demo:draw:{number}",
        why=Move.Why.CHECK_OUT,
        job=shop.jobs[draw.job],
        who=shop.people[clerk],
        at=whole_second(draw.at),
    )


def _loans(scenario: Scenario, shop: Shop, hands: dict[str, Place]) -> list[stock.MoveDraft]:
    """Things that people have at the moment and that come back; one of them should long be back."""
    drafts = []
    for number, row in enumerate(scenario.story["lent"]):
        design, home = shop.designs[row["design"]], shop.homes[row["design"]]
        item = Item.objects.filter(design=design, place=home).first() if design.kept_as_items else None
        drafts.append(
            stock.MoveDraft(
                design=design,
                quantity=1,
                from_place=home,
                to_place=hands[row["person"]],
                key=f"demo:lent:{number}",
                why=Move.Why.CHECK_OUT,
                item=item,
                who=shop.attendant,
                at=whole_second(shop.now - timedelta(days=row["days"])),
            )
        )
    return drafts


def count_a_bin(scenario: Scenario, shop: Shop) -> None:
    """A count that found a little less than the books said, and was posted."""
    row = scenario.story["counted"]
    design, home = shop.designs[row["design"]], shop.homes[row["design"]]
    count = stock.start_count(place=home, who=shop.attendant)
    found = max(0, on_hand(design=design) - row["missing"])
    for _ in ("counted", "counted again"):
        stock.record_count(count=count, design=design, counted=found, who=shop.attendant)
    stock.finish_count(count=count, who=shop.attendant)
    stock.post_count(count=count, who=shop.lead)


def _record(
    shop: Shop, tool: PastTool, assemblies: dict[str, Assembly], hands: dict[str, Place], boxes: Boxes
) -> ToolRecord:
    return ToolRecord(
        assembly=assemblies[tool.seat.name],
        design=shop.designs[tool.seat.tip],
        from_place=hands[tool.fitted_by],
        fitted_at=whole_second(tool.fitted_at),
        fitted_by=shop.people[tool.fitted_by],
        key=f"demo:tool:{tool.seat.machine}:{tool.seat.pocket}:{tool.fitted_at:%Y%m%d%H%M%S}",
        edges=tuple(_edge_record(shop, edge) for edge in tool.edges),
        removed_at=whole_second(tool.removed_at) if tool.removed_at else None,
        removed_to=shop.homes[tool.seat.tip] if goes_for_regrind(shop, tool) else None,
        lot=boxes.lot_of(tool.seat.tip, tool.fitted_at),
    )


def _edge_record(shop: Shop, edge: PastEdge) -> EdgeRecord:
    return EdgeRecord(
        number=edge.number,
        operation=shop.operations[edge.operation],
        put_in_at=whole_second(edge.put_in_at),
        ended_at=whole_second(edge.ended_at) if edge.ended_at else None,
        outcome=edge.outcome,
        wear_land_mm=edge.wear_land,
        note=edge.note,
        ended_by=shop.people[edge.ended_by] if edge.ended_by else None,
    )


# --- runs and readings ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Told:
    """A run to be logged: by whom, and the edge whose band of the flute cut; 0 where the operation has none."""

    by: str
    edge: int
    draft: floor.RunDraft


def log_past_runs(scenario: Scenario, shop: Shop, past: Past, progress: Progress) -> int:
    """Log every run under the name of who ran the machine; answers how many.

    A run takes the band that its operation has when it is logged, so chamfering is told band by band: the first edge of
    each mill worked in the first one, and so on.
    """
    told, logged = _runs_told(scenario, shop, past), 0
    for edge in sorted({one.edge for one in told}):
        if edge:
            _work_in_band_of(scenario, shop, edge)
        by_person: dict[str, list[floor.RunDraft]] = defaultdict(list)
        for one in told:
            if one.edge == edge:
                by_person[one.by].append(one.draft)
        for name, drafts in by_person.items():
            drafts.sort(key=lambda draft: draft.started_at)
            for first in range(0, len(drafts), LOG_AT_ONCE):
                logged += _log(drafts[first : first + LOG_AT_ONCE], shop, name)
                progress(f"Runs logged: {logged:,} of {past.runs:,}")
    _work_where_the_edges_are(scenario, shop)
    return logged


def _chamfering(scenario: Scenario) -> Iterator[tuple[Step, tuple[str, int]]]:
    """Steps that work in bands of a flute, each with the name of its operation in every job."""
    for batch in scenario.batches:
        for step in scenario.steps[batch.part]:
            if step.bands:
                yield step, (batch.code, step.number)


def _work_in_band_of(scenario: Scenario, shop: Shop, edge: int) -> None:
    for step, name in _chamfering(scenario):
        _move_to(shop, name, step.band_of(edge))


def _work_where_the_edges_are(scenario: Scenario, shop: Shop) -> None:
    """Every operation in the band of the edge that works at it now; in its first one where none does."""
    at_work = dict(Edge.objects.filter(state=Edge.State.IN_USE).values_list("operation", "number"))
    for step, name in _chamfering(scenario):
        _move_to(shop, name, step.band_of(at_work.get(shop.operations[name].pk, 1)))


def _move_to(shop: Shop, name: tuple[str, int], band: tuple[float, float]) -> None:
    operation = shop.operations[name]
    if (operation.contact_low, operation.contact_high) != band:
        low, high = band
        floor.change_operation(operation=operation, who=shop.engineer, contact_low=low, contact_high=high)


def _runs_told(scenario: Scenario, shop: Shop, past: Past) -> list[Told]:
    chance = np.random.default_rng([scenario.story["seed"], 2000])
    feeds = {row["code"]: Run.Source.FILE if row["feed"] == "file" else Run.Source.TYPED for row in scenario.machines}
    in_bands = {name for _, name in _chamfering(scenario)}
    told: list[Told] = []
    for tool in past.tools:
        for edge in tool.edges:
            for number, run in enumerate(edge.runs):
                computed = run.parts >= 4 and chance.random() < scenario.story["share_of_minutes_left_to_the_operation"]
                draft = floor.RunDraft(
                    operation=shop.operations[edge.operation],
                    started_at=whole_second(run.starts),
                    ended_at=whole_second(run.ends),
                    parts=run.parts,
                    source_key=f"{tool.seat.machine}-{tool.seat.pocket}-{run.starts:%y%m%d%H%M%S}-{edge.number}-{number}",
                    machine=shop.machines[tool.seat.machine],
                    pocket=tool.seat.pocket,
                    minutes_in_cut=None if computed and edge.outcome not in BROKE else round(run.minutes, 2),
                    source=feeds[tool.seat.machine],
                )
                told.append(Told(run.by, edge.number if edge.operation in in_bands else 0, draft))
    return told


BROKE = ("chipped", "broken", "worn")


def _log(drafts: list[floor.RunDraft], shop: Shop, name: str) -> int:
    answer = floor.log_runs(drafts=drafts, who=shop.people[name])
    if answer.refused:
        first = answer.refused[0]
        raise LoaderError(
            f"{len(answer.refused)} runs were refused; the first, {drafts[first.index].source_key}: {first.sentence}"
        )
    return len(answer.accepted)


def record_readings(shop: Shop, told: Sequence[tuple[PastTool, Fitting]]) -> int:
    """Write the wear lands that were read on edges at work."""
    edges = {(edge.item_id, edge.number): edge for edge in Edge.objects.filter(inspections=None, minutes__gt=0)}
    records = []
    for tool, fitting in told:
        for past_edge in tool.edges:
            edge = edges.get((fitting.item_id, past_edge.number))
            for look in past_edge.looks if edge else []:
                assert edge is not None
                records.append(
                    InspectionRecord(
                        edge=edge,
                        at_minutes=min(round(look.minutes, 2), edge.minutes),
                        wear_land_mm=look.wear_land,
                        seen_by=shop.people[look.by],
                        seen_at=whole_second(look.at),
                    )
                )
    return floor.record_inspections(records=records, who=shop.lead)


def close_jobs(scenario: Scenario, shop: Shop) -> None:
    """Jobs that ended have made what they were for; the others go on."""
    for batch in scenario.batches:
        job = Job.objects.get(code=batch.code)
        shop.jobs[batch.code] = job
        if batch.state == Job.State.DONE:
            floor.change_job(job=job, who=shop.planner, state=Job.State.DONE, quantity=max(job.made, 1))
