"""What every test may use. Factories are plain functions in tests/factories.py."""

import os

import pytest
from django.conf import settings


def pytest_configure():
    """Pages name their static files without a manifest, which only `start` collects."""
    settings.STORAGES["staticfiles"]["BACKEND"] = (
        "django.contrib.staticfiles.storage.StaticFilesStorage"
    )
    settings.STATIC_ROOT = settings.HERE / "static"


def pytest_xdist_auto_num_workers() -> int:
    """One more than there are processors, since many wait for a server or a browser to start."""
    return (os.cpu_count() or 1) + 1


@pytest.fixture
def owner(db):
    from inventory.people.models import Person

    return Person.objects.create_user("owner", role=Person.Role.OWNER)
