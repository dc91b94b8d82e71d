"""Prepare everything, serve it, and say how to sign in."""

from __future__ import annotations

import socket
import warnings
from argparse import ArgumentParser

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.bench.demo import DemoRefused, load_demo
from inventory.ledger import record
from inventory.ledger.backup import BackupRefused
from inventory.ledger.keeping import back_up_if_due, bring_up_to_date, keep_backing_up
from inventory.people.links import sign_in_path
from inventory.people.models import Person


class Command(BaseCommand):
    help = "Prepare the record and serve Carknocker until Ctrl-C."
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="default: 127.0.0.1")
        parser.add_argument("--port", type=int, default=8000, help="default: 8000")
        parser.add_argument(
            "--demo", action="store_true", help="put an invented railway into an empty record"
        )

    def handle(self, *args, **options) -> None:
        # The socket is taken before anything is written, so that a second start by mistake says
        # so at once and leaves the first alone.
        listener = self._listen(options["host"], options["port"])
        try:
            self._prepare()
            owner = self._owner()
            if options["demo"]:
                self._demo(owner)
            self._serve(listener, owner)
        finally:
            listener.close()

    def _listen(self, host: str, port: int) -> socket.socket:
        if not 0 < port < 65536:
            raise CommandError(f"--port {port}: a port is a number from 1 to 65535.")
        try:
            family, kind, protocol, _, address = socket.getaddrinfo(
                host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
            )[0]
        except (OSError, UnicodeError) as error:
            raise CommandError(f"--host {host}: this machine has no such address.") from error
        listener = socket.socket(family, kind, protocol)
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # Windows shares ports unless told not to
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind(address)
            listener.listen(128)
        except PermissionError as error:
            listener.close()
            raise CommandError(
                f"This account may not serve on port {port}; try --port 8000."
            ) from error
        except OSError as error:
            listener.close()
            raise CommandError(
                f"Port {port} on {host} is taken. If Carknocker is already running there, use "
                f"that one; else start with another port: python manage.py start --port {port + 1}"
            ) from error
        return listener

    def _prepare(self) -> None:
        self.stdout.write(f"The record is kept in {settings.DATA}")
        self._keep()
        call_command("collectstatic", interactive=False, verbosity=0)

    def _keep(self) -> None:
        was_there = record.is_in_a_file() and record.database().exists()
        try:
            bring_up_to_date(self.stdout.write)
        except BackupRefused as refused:
            raise CommandError(str(refused)) from refused
        if was_there:
            back_up_if_due(self.stdout.write, timezone.localtime())

    def _owner(self) -> Person:
        owner = Person.objects.filter(role=Person.Role.OWNER, is_active=True).first()
        if owner is not None:
            return owner
        if Person.objects.filter(username="owner").exists():
            raise CommandError(
                "The person called owner was put out or is no owner any more, so nobody can be "
                "signed in. Make an owner: manage.py shell, or restore a backup."
            )
        return Person.objects.create_user("owner", role=Person.Role.OWNER)

    def _demo(self, owner: Person) -> None:
        try:
            n_vehicles = load_demo(by=owner)
        except DemoRefused as refused:
            self.stdout.write(str(refused))
        else:
            self.stdout.write(f"Demo railway put in: {n_vehicles} vehicles, all invented.")

    def _serve(self, listener: socket.socket, owner: Person) -> None:
        # Imported here because waitress looks at the platform when it is imported.
        import waitress

        from inventory.wsgi import application

        host, port = listener.getsockname()[:2]
        name = _reachable_name(host)
        if name not in settings.ALLOWED_HOSTS:
            settings.ALLOWED_HOSTS.append(name)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            server = waitress.create_server(application, sockets=[listener], threads=6)
        self.stdout.write("Open this address to sign in; it works once, within an hour:")
        self.stdout.write(f"\n    http://{name}:{port}{sign_in_path(owner)}\n\n")
        self.stdout.write("Stop with Ctrl-C. Everything is kept for the next start.")
        self.stdout.flush()
        is_over = keep_backing_up(self.stderr.write)
        try:
            server.run()
        finally:
            is_over.set()
            server.close()
            self.stdout.write("Stopped; everything is kept.")


def _reachable_name(host: str) -> str:
    """By what name a browser reaches a server bound to `host`."""
    if host in ("0.0.0.0", "::"):
        host = _own_address()
    return f"[{host}]" if ":" in host else host


def _own_address() -> str:
    """This machine's address in the house; nothing is sent to find it out."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address of documentation, RFC 5737
        except OSError:
            return "127.0.0.1"
        return probe.getsockname()[0]
