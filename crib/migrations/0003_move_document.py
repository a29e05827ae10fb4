from django.db import migrations, models


def name_orders(apps, schema_editor):
    """Lines that came in on an order belong to it from now on."""
    move, receipt = apps.get_model("crib", "Move"), apps.get_model("crib", "Receipt")
    for line, number in receipt.objects.values_list("move", "line__order__number").iterator():
        move.objects.filter(models.Q(pk=line) | models.Q(reverses=line)).update(document=number)


class Migration(migrations.Migration):

    dependencies = [
        ('crib', '0002_contact_bands_and_spindle_curves'),
    ]

    operations = [
        migrations.AddField(
            model_name='move',
            name='document',
            field=models.CharField(blank=True, db_default='', default='', help_text='what it was posted for, such as an order: it is taken back there', max_length=40),
        ),
        migrations.RunPython(name_orders, migrations.RunPython.noop),
    ]
