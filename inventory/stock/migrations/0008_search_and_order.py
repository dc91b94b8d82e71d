"""What the stock list searches and sorts by, filled from what is there."""

from django.db import migrations, models
from django.db.models import Max, OuterRef, Subquery


def _as_sign(code):
    return "".join(chr(0xE000 + min(ord(each), 0x7FF)) for each in code.casefold()) + "\n"


def fill(apps, schema_editor):
    Vehicle = apps.get_model("stock", "Vehicle")
    Inspection = apps.get_model("stock", "Inspection")
    everyone = Vehicle._base_manager.using(schema_editor.connection.alias)
    last = (
        Inspection.objects.filter(vehicle=OuterRef("pk"))
        .order_by()
        .values("vehicle")
        .annotate(last=Max("finished_at"))
        .values("last")
    )
    everyone.update(last_inspected_at=Subquery(last))
    fields = (
        "reporting_mark",
        "number",
        "name",
        "kind",
        "maker",
        "catalogue_number",
        "storage_box",
    )
    batch = []
    for vehicle in everyone.only("aar_designation", *fields).iterator(chunk_size=500):
        words = "\n".join(getattr(vehicle, name) for name in fields).casefold()
        vehicle.search_text = _as_sign(vehicle.aar_designation) + words
        batch.append(vehicle)
        if len(batch) == 500:
            everyone.bulk_update(batch, ["search_text"], batch_size=100)
            batch = []
    everyone.bulk_update(batch, ["search_text"], batch_size=100)


class Migration(migrations.Migration):
    dependencies = [
        ("stock", "0007_photos"),
    ]

    operations = [
        migrations.AddField(
            model_name="vehicle",
            name="search_text",
            field=models.TextField(blank=True, default="", editable=False),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name="vehicle",
            name="last_inspected_at",
            field=models.DateTimeField(editable=False, null=True),
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
    ]
