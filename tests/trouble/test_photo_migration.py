"""A report's one photo of an earlier version comes into the shape of all photos."""

from __future__ import annotations

import hashlib
import io
from datetime import UTC, date, datetime

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from PIL import Image

from inventory.trouble.models import IncidentPhoto
from tests.factories import make_person, photograph

BEFORE = ("trouble", "0003_photo")


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
def test_photos_of_an_older_record_then_get_thumbnail_day_and_order():
    person = make_person()
    latest = MigrationExecutor(connection).loader.graph.leaf_nodes("trouble")
    older = MigrationExecutor(connection)
    older.migrate([BEFORE])
    apps = older.loader.project_state([BEFORE]).apps
    happened = datetime(2025, 3, 4, 20, 30, tzinfo=UTC)
    incidents = [
        apps.get_model("trouble", "Incident").objects.create(
            where="East turnout",
            happened="points",
            happened_at=happened,
            reported_at=happened,
            reported_by_id=person.pk,
        )
        for _ in range(2)
    ]
    raws = [photograph(size=(800, 600), colour=each) for each in ("red", "blue", "lime")]
    for raw, incident in zip(raws, (incidents[0], incidents[1], incidents[0]), strict=True):
        apps.get_model("trouble", "IncidentPhoto").objects.create(
            incident=incident, jpeg=raw, taken_by_id=person.pk
        )

    MigrationExecutor(connection).migrate(latest)

    kept = list(IncidentPhoto.objects.order_by("pk"))
    assert [bytes(each.jpeg) for each in kept] == raws
    assert [(each.incident_id, each.position) for each in kept] == [
        (incidents[0].pk, 1),
        (incidents[1].pk, 1),
        (incidents[0].pk, 2),
    ]
    for each, raw in zip(kept, raws, strict=True):
        assert (each.width, each.height, each.caption) == (800, 600, "")
        assert each.taken_on == date(2025, 3, 4)
        assert (each.added_by_id, each.added_at) == (person.pk, happened)
        assert each.digest == hashlib.sha256(raw).hexdigest()[:32]
        with Image.open(io.BytesIO(bytes(each.thumbnail))) as small:
            assert (small.format, small.size) == ("JPEG", (320, 240))
