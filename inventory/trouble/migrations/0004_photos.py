"""Photos of a report in the shape of all photos: several, in order, each with a caption. Those that
there are get their thumbnail, their size and the day of their report."""

import hashlib
import io

from django.db import migrations, models
from PIL import Image


def fill(apps, schema_editor):
    IncidentPhoto = apps.get_model("trouble", "IncidentPhoto")
    last = {}
    # One at a time: each is some hundred kilobytes.
    for pk in list(IncidentPhoto.objects.order_by("pk").values_list("pk", flat=True)):
        photo = IncidentPhoto.objects.select_related("incident").get(pk=pk)
        jpeg = bytes(photo.before)
        with Image.open(io.BytesIO(jpeg)) as opened:
            width, height = opened.size
            small = opened.convert("RGB")
        small.thumbnail((320, 320))
        thumbnail = io.BytesIO()
        small.save(thumbnail, "JPEG", quality=80, optimize=True)
        position = last[photo.incident_id] = last.get(photo.incident_id, 0) + 1
        IncidentPhoto.objects.filter(pk=pk).update(
            jpeg=jpeg,
            thumbnail=thumbnail.getvalue(),
            digest=hashlib.sha256(jpeg).hexdigest()[:32],
            width=width,
            height=height,
            taken_on=photo.incident.happened_at.date(),
            position=position,
            added_at=photo.incident.reported_at,
        )


def empty(apps, schema_editor):
    apps.get_model("trouble", "IncidentPhoto").objects.update(before=models.F("jpeg"))


class Migration(migrations.Migration):

    dependencies = [
        ('trouble', '0003_photo'),
    ]

    operations = [
        migrations.AlterModelOptions(
            name='incidentphoto',
            options={'ordering': ['position', 'pk']},
        ),
        migrations.RenameField(
            model_name='incidentphoto', old_name='taken_by', new_name='added_by'
        ),
        migrations.AddField(
            model_name='incidentphoto',
            name='caption',
            field=models.CharField(blank=True, default='', max_length=200),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name='incidentphoto',
            name='digest',
            field=models.CharField(editable=False, max_length=32, null=True),
        ),
        migrations.AddField(
            model_name='incidentphoto',
            name='width',
            field=models.PositiveSmallIntegerField(editable=False, null=True),
        ),
        migrations.AddField(
            model_name='incidentphoto',
            name='height',
            field=models.PositiveSmallIntegerField(editable=False, null=True),
        ),
        migrations.AddField(
            model_name='incidentphoto',
            name='taken_on',
            field=models.DateField(null=True, verbose_name='taken'),
        ),
        migrations.AddField(
            model_name='incidentphoto',
            name='position',
            field=models.PositiveIntegerField(editable=False, null=True),
        ),
        migrations.AddField(
            model_name='incidentphoto', name='added_at', field=models.DateTimeField(null=True)
        ),
        # The pictures last: SQLite reads through them to what comes behind.
        migrations.RenameField(model_name='incidentphoto', old_name='jpeg', new_name='before'),
        migrations.AlterField(
            model_name='incidentphoto', name='before', field=models.BinaryField(null=True)
        ),
        migrations.AddField(
            model_name='incidentphoto', name='thumbnail', field=models.BinaryField(null=True)
        ),
        migrations.AddField(
            model_name='incidentphoto', name='jpeg', field=models.BinaryField(null=True)
        ),
        migrations.RunPython(fill, empty),
        migrations.RemoveField(model_name='incidentphoto', name='before'),
        migrations.AlterField(
            model_name='incidentphoto', name='jpeg', field=models.BinaryField()
        ),
        migrations.AlterField(
            model_name='incidentphoto', name='thumbnail', field=models.BinaryField()
        ),
        migrations.AlterField(
            model_name='incidentphoto',
            name='digest',
            field=models.CharField(editable=False, max_length=32),
        ),
        migrations.AlterField(
            model_name='incidentphoto',
            name='width',
            field=models.PositiveSmallIntegerField(editable=False),
        ),
        migrations.AlterField(
            model_name='incidentphoto',
            name='height',
            field=models.PositiveSmallIntegerField(editable=False),
        ),
        migrations.AlterField(
            model_name='incidentphoto',
            name='taken_on',
            field=models.DateField(verbose_name='taken'),
        ),
        migrations.AlterField(
            model_name='incidentphoto',
            name='position',
            field=models.PositiveIntegerField(editable=False),
        ),
        migrations.AlterField(
            model_name='incidentphoto', name='added_at', field=models.DateTimeField()
        ),
        migrations.AddConstraint(
            model_name='incidentphoto',
            constraint=models.UniqueConstraint(
                fields=('incident', 'position'), name='one_photo_of_a_report_in_a_position'
            ),
        ),
    ]
