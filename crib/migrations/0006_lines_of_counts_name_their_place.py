import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    # On its own: PostgreSQL alters no table in the transaction that has just changed its rows.

    dependencies = [
        ("crib", "0005_a_crib_that_balances"),
    ]

    operations = [
        migrations.AlterField(
            model_name="countline",
            name="place",
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="crib.place"),
        ),
    ]
