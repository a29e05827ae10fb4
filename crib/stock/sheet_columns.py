"""What the columns of a crib's spreadsheet may mean, guessed from the words over them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from crib.catalogue.models import Design
from crib.core.errors import BadInput
from crib.stock.models import Condition
from crib.stock.workbook import Row

LOOKED_THROUGH = 25


@dataclass(frozen=True, slots=True)
class Field:
    """One thing we want to know of a row, and the words by which cribs head it."""

    name: str
    says: str
    words: tuple[str, ...]


# Words of the trade, common practice, no source. The first field that knows a head has it.
FIELDS = (
    Field("code", "Code of the design", (
        "code", "design", "tool code", "tool", "tool no", "tool number", "tool id", "item", "item no", "item number",
        "item code", "article", "article no", "article number", "part no", "part number", "stock code", "stock no",
        "id", "our number", "our no", "internal number",
    )),
    Field("description", "Description", (
        "description", "designation", "name", "text", "item description", "tool description", "details", "what it is",
    )),
    Field("kind", "Kind", ("kind", "type", "category", "class", "group", "tool type", "sort")),
    Field("makers_number", "Maker’s number", (
        "makers number", "maker s number", "maker number", "manufacturer number", "manufacturer no",
        "manufacturers number", "manufacturer part number", "mfr no", "mfg no", "mpn", "order code", "ordering code",
        "catalogue number", "catalog number", "cat no", "edp", "makers no", "maker no",
    )),
    Field("place", "Bin or other place", (
        "bin", "place", "location", "drawer", "shelf", "storage", "storage place", "position", "bin location", "bin no",
        "stock place", "stored in", "where",
    )),
    Field("cabinet", "Cabinet it stands in", ("cabinet", "cupboard", "rack", "crib", "store", "carousel")),
    Field("quantity", "Quantity", (
        "quantity", "qty", "on hand", "qty on hand", "quantity on hand", "in stock", "stock", "pieces", "pcs", "count",
        "number of pieces", "balance", "amount", "available",
    )),
    Field("condition", "Condition", ("condition", "state", "status", "new used", "new or used")),
    Field("unit_cost", "Cost of one", (
        "cost", "unit cost", "price", "unit price", "cost each", "price each", "each", "cost per piece", "net price",
    )),
    Field("pack_size", "Pieces in a pack", ("pack", "pack size", "packing", "pack qty", "pieces per pack", "box qty")),
    Field("edges", "Edges: corners or bands", ("edges", "corners", "cutting edges", "number of edges")),
    Field("seats", "Tips that a body takes", ("seats", "pockets", "number of tips", "tips")),
    Field("diameter_mm", "Cutting diameter, mm", (
        "diameter", "dia", "d", "dc", "cutting diameter", "diameter mm", "dia mm", "o",
    )),
    Field("lot", "Lot", ("lot", "batch", "lot no", "batch no", "lot number", "batch number", "heat")),
    Field("serial", "Serial number", ("serial", "serial no", "serial number", "s n", "sn")),
    Field("held_by", "Held by (a person)", (
        "held by", "person", "operator", "issued to", "with", "who", "who has it", "employee", "checked out to", "user",
    )),
)  # fmt: skip
BY_NAME = {field.name: field for field in FIELDS}
NEEDED = ("code",)

KIND_WORDS: dict[str, tuple[str, ...]] = {
    Design.Kind.TIP: ("tip", "head", "cutting head", "exchangeable head", "replaceable tip"),
    Design.Kind.INSERT: ("insert", "indexable insert", "inserts", "indexable"),
    Design.Kind.BODY: ("body", "cutter body", "mill body", "milling body", "shank", "tool body", "cutter"),
    Design.Kind.HOLDER: ("holder", "toolholder", "tool holder", "chuck", "collet chuck", "arbor", "adapter", "adaptor"),
    Design.Kind.DRILL: ("drill", "twist drill", "carbide drill", "spot drill", "reamer", "drills"),
    Design.Kind.TAP: ("tap", "thread former", "taps"),
    Design.Kind.SOLID_MILL: (
        "solid mill",
        "end mill",
        "endmill",
        "solid end mill",
        "milling cutter",
        "ball nose",
        "mill",
    ),
    Design.Kind.ACCESSORY: ("accessory", "screw", "key", "spare", "spare part", "collet", "other", "sundry", "wrench"),
}
CONDITION_WORDS: dict[str, tuple[str, ...]] = {
    Condition.NEW: ("new", "unused", "fresh", "sealed"),
    Condition.PART_USED: ("part used", "used", "partly used", "opened", "second hand"),
    Condition.REGROUND: ("reground", "resharpened", "re ground", "sharpened"),
    Condition.SPENT: ("spent", "worn", "worn out", "scrap"),
}


def plain(words: str) -> str:
    """Lower case, letters and digits alone, one space between: how heads are compared."""
    return " ".join(re.findall(r"[^\W_]+", words.lower().replace("'", "").replace("’", "")))


def guess_columns(header: Sequence[str]) -> dict[str, int]:
    """Our field to the column that it most likely stands in; each column once."""
    heads = [plain(re.sub(r"\([^)]*\)|\[[^]]*\]", " ", one)) for one in header]
    found: dict[str, int] = {}
    for rank in range(max(len(field.words) for field in FIELDS)):
        for field in FIELDS:
            if field.name in found or rank >= len(field.words):
                continue
            for column, head in enumerate(heads):
                if head == field.words[rank] and column not in found.values():
                    found[field.name] = column
                    break
    return found


def find_header(rows: Sequence[Row]) -> int:
    """Which of the first rows names the columns: the one whose words we know best; otherwise the first."""
    worth = [len(guess_columns(row.cells)) for row in rows[:LOOKED_THROUGH]]
    best = max(worth, default=0)
    return worth.index(best) if best >= 2 else 0


def read_kind(text: str) -> str:
    return _by_word("kind", text, KIND_WORDS, ", ".join(kind.label.lower() for kind in Design.Kind))


def read_condition(text: str) -> str:
    found = _by_word("condition", text, CONDITION_WORDS, "new, part-used, reground")
    if found == Condition.SPENT:
        raise BadInput(
            "condition", "Spent edges are not taken into stock. Leave the row out, or give its real condition."
        )
    return found


def _by_word(field: str, text: str, words: Mapping[str, Sequence[str]], known: str) -> str:
    said = plain(text)
    for value, names in words.items():
        if said in names or said == plain(value):
            return str(value)
    raise BadInput(field, f"“{text[:40]}” is no {field} that is known here. Use one of: {known}.")


def read_count(field: str, text: str) -> int:
    """A whole number as people write it: 12, 12.0, “12 pcs”, never one that could mean two things."""
    found = re.fullmatch(r"(\d{1,9})(?:[.,]0+)?\s*(?:pcs?\.?|pieces?|ea\.?|off|x)?", text.strip().lower())
    if found is None:
        if re.fullmatch(r"-\s*\d.*", text.strip()):
            raise BadInput(field, f"“{text[:40]}” is below zero. A shelf cannot hold less than nothing.")
        raise BadInput(field, f"“{text[:40]}” is no whole number. Write it in digits alone, such as 1200.")
    return int(found[1])


def read_amount(field: str, text: str) -> Decimal:
    """A price with a decimal point or comma, its currency left away; refused where a comma could be either."""
    bare = re.sub(r"[^\d.,\-]", "", text)
    if not re.fullmatch(r"\d[\d.,]*", bare):
        raise BadInput(field, f"“{text[:40]}” is no amount. Write it as 24.50")
    marks = [one for one in bare if one in ".,"]
    if len(set(marks)) == 2:
        decimal = marks[-1]
        whole = bare.replace("." if decimal == "," else ",", "")
        if marks.count(decimal) > 1:
            raise BadInput(field, f"“{text[:40]}” is no amount. Write it as 24.50")
        bare = whole.replace(",", ".")
    elif len(marks) > 1:
        bare = bare.replace(marks[0], "")
    elif marks == [","]:
        if re.fullmatch(r"[1-9]\d{0,2},\d{3}", bare):
            fine = f"{bare.replace(',', '')} or {bare.replace(',', '.')}"
            raise BadInput(field, f"“{text[:40]}” may mean {fine}. Write it without a thousands mark.")
        bare = bare.replace(",", ".")
    return Decimal(bare)


def tidy_code(text: str) -> str:
    """A code as it is kept: capital letters, and a dash where the sheet had spaces."""
    return "-".join(text.upper().split())
