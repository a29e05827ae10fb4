from typing import Any

from django.db import migrations, models

import crib.core.columns
from crib.catalogue.words import search_text

AT_ONCE = 1000


def fill(apps: Any, schema_editor: Any) -> None:
    """Designs entered before there was a search box get what it looks through."""
    designs = apps.get_model("crib", "Design").objects.using(schema_editor.connection.alias)
    offers = apps.get_model("crib", "Offer").objects.using(schema_editor.connection.alias)
    numbers: dict[int, list[str]] = {}
    for design, number in offers.exclude(suppliers_number="").order_by("pk").values_list("design", "suppliers_number"):
        numbers.setdefault(design, []).append(number)
    done: list[Any] = []
    for design in designs.order_by("pk").iterator(chunk_size=AT_ONCE):
        design.search_text = search_text(
            code=design.code,
            numbers=[design.makers_number, *numbers.get(design.pk, [])],
            said=[design.description, design.family, design.get_kind_display()],
        )
        done.append(design)
    designs.bulk_update(done, ["search_text"], batch_size=200)


class Migration(migrations.Migration):
    dependencies = [
        ("crib", "0006_lines_of_counts_name_their_place"),
    ]

    operations = [
        migrations.RunPython(fill, migrations.RunPython.noop, elidable=True),
        migrations.AddIndex(
            model_name="item",
            index=models.Index(crib.core.columns.SqueezedText("serial"), name="item_serial_squeezed"),
        ),
        migrations.AddIndex(
            model_name="item",
            index=models.Index(crib.core.columns.SqueezedText("lot"), name="item_lot_squeezed"),
        ),
    ]
