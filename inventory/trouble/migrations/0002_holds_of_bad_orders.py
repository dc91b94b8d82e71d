"""What was stated bad order before there were holds is held from that inspection on."""

from django.db import migrations


def hold(apps, schema_editor):
    Vehicle = apps.get_model("stock", "Vehicle")
    Hold = apps.get_model("trouble", "Hold")
    for vehicle in Vehicle.objects.filter(service="bad order", held_because=""):
        finished = vehicle.inspections.filter(finished_at__isnull=False)
        last = finished.order_by("finished_at", "pk").last()
        if last is None:
            continue
        outside = last.verdicts.filter(is_current=True, outcome="outside", is_advisory=False)
        reason = last.statement.strip()[:200] or "found bad order at an inspection"
        Hold.objects.create(
            vehicle=vehicle,
            reason=reason,
            inspection=last,
            broken=[list(key) for key in outside.values_list("quantity", "at")],
            held_by=last.inspector,
            held_at=last.finished_at,
        )
        vehicle.held_because = reason
        vehicle.save(update_fields=["held_because"])


class Migration(migrations.Migration):
    dependencies = [("trouble", "0001_initial")]
    operations = [migrations.RunPython(hold, migrations.RunPython.noop)]
