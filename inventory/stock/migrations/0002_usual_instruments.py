"""The instruments most benches have, so that nobody has to set one up before the first reading.

Greatest errors: calipers and rule by the figures in standards/metrology.py's sources (DIN 862;
EU directive on length measures, class II); scales without a verification mark carry none, so one
whole step is taken, common practice, no source.
"""

from decimal import Decimal

from django.db import migrations

USUAL = [
    ("Digital caliper", "caliper", "0.03", "0.01", "0.02", "150 mm, DIN 862"),
    ("Vernier caliper", "caliper", "0.05", "0.05", "0.02", "DIN 862"),
    ("Steel rule", "rule", "0.5", "0.5", "0", "300 mm, class II, read to half a millimetre"),
    ("Scale, 1 g", "scale", "1", "1", "0", "unverified: one step taken as its error"),
    ("Scale, 0.1 g", "scale", "0.1", "0.1", "0", "unverified: one step taken as its error"),
    ("Test incline", "incline", "0.2", "0.1", "0", "a board lifted at one end, rise over length"),
    ("Standards gauge", "gauge", None, None, "0", "sheet metal, go and no go"),
]


def put_in(apps, schema_editor):
    Instrument = apps.get_model("stock", "Instrument")
    for name, kind, max_error, resolution, inside, note in USUAL:
        Instrument.objects.get_or_create(
            name=name,
            defaults={
                "kind": kind,
                "max_error": Decimal(max_error) if max_error else None,
                "resolution": Decimal(resolution) if resolution else None,
                "inside_extra": Decimal(inside),
                "note": note,
            },
        )


class Migration(migrations.Migration):
    dependencies = [("stock", "0001_initial")]
    operations = [migrations.RunPython(put_in, migrations.RunPython.noop)]
