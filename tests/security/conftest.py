"""The real server with the demo, as `start` runs it, and who asks it."""

from __future__ import annotations

from collections.abc import Iterator

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
def server(tmp_path_factory) -> Iterator[Server]:
    """With the demo, an inspector, a visitor and one who was put out. Tests only look at it."""
    started = Server(tmp_path_factory.mktemp("served") / "record", "--demo")
    started.shell(PEOPLE)
    yield started
    started.stop()


@pytest.fixture(scope="session")
def owner_client(server) -> Client:
    return signed_in_by_address(server)


@pytest.fixture
def stranger(server) -> Client:
    return Client(server.port)
