"""The real server with the demo, as `start` runs it, and who asks it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.asking import Client
from tests.servers import Server

PASSWORD = "brass-valve-gear"  # nosec: of a record that lives as long as the tests

PEOPLE = f"""
from inventory.people.models import Person
for name, role in (("ida", "inspector"), ("gus", "visitor"), ("out", "inspector")):
    person = Person.objects.create_user(name, password={PASSWORD!r}, role=role)
person.is_active = False
person.save()
"""


def signed_in_by_address(server: Server) -> Client:
    """The owner, who has opened the address that the server printed."""
    client = Client(server.port)
    path = server.address.removeprefix(server.base)
    answer = client.post(path, {})
    assert answer.status == 302, answer.text
    return client


@pytest.fixture(scope="session")
def demo_record(tmp_path_factory) -> Path:
    """A folder with the demo, an inspector, a visitor and one who was put out: to be copied."""
    folder = tmp_path_factory.mktemp("demo") / "record"
    loading = Server(folder, "--demo")
    loading.shell(PEOPLE)
    loading.stop()
    return folder


def copied(record: Path, to: Path) -> Path:
    return Path(shutil.copytree(record, to))


@pytest.fixture(scope="session")
def server(demo_record, tmp_path_factory) -> Iterator[Server]:
    """Tests only look at it."""
    started = Server(copied(demo_record, tmp_path_factory.mktemp("served") / "record"))
    yield started
    started.stop()


@pytest.fixture(scope="session")
def owner_client(server) -> Client:
    return signed_in_by_address(server)


@pytest.fixture
def stranger(server) -> Client:
    return Client(server.port)
