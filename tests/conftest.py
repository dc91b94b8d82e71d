"""What every test may use. Factories are plain functions in tests/factories.py."""

import pytest
from django.conf import settings


def pytest_configure():
    """Pages name their static files without a manifest, which only `start` collects."""
    settings.STORAGES["staticfiles"]["BACKEND"] = (
        "django.contrib.staticfiles.storage.StaticFilesStorage"
    )
    settings.STATIC_ROOT = settings.HERE / "static"


@pytest.fixture
def owner(db):
    from inventory.people.models import Person

    return Person.objects.create_user("owner", role=Person.Role.OWNER)
