"""What every test may use. Factories are plain functions in tests/factories.py."""

import pytest


@pytest.fixture(autouse=True)
def plain_static_files(settings):
    """Pages name their static files without a manifest, which only `start` collects."""
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }


@pytest.fixture
def owner(db):
    from inventory.people.models import Person

    return Person.objects.create_user("owner", role=Person.Role.OWNER)
