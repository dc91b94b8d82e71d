"""Prepare everything, serve it, and say how to sign in."""

from __future__ import annotations

import errno
import signal
import socket
from argparse import ArgumentParser
from collections.abc import Sequence

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.bench.demo import DemoRefused, load_demo
from inventory.ledger import record
from inventory.ledger.backup import BackupRefused
from inventory.ledger.keeping import (
    back_up_if_due,
    bring_up_to_date,
    in_turn,
    keep_backing_up,
)
from inventory.ledger.network import (
    EVERYWHERE,
    bracketed,
    dangers,
    is_loopback,
    is_loose,
    reached_by,
)
from inventory.people.links import sign_in_path
from inventory.people.models import Person

_NOT_OURS = (errno.EADDRNOTAVAIL, getattr(errno, "WSAEADDRNOTAVAIL", errno.EADDRNOTAVAIL))
"""Binding says so for an address of another machine; Windows has a number of its own."""


class Command(BaseCommand):
    help = "Prepare the record and serve Carknocker until Ctrl-C."
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--network", action="store_true", help="let the phones in the house reach it too"
        )
        parser.add_argument(
            "--host",
            help="default: 127.0.0.1, which only this machine reaches; with --network all",
        )
        parser.add_argument("--port", type=int, default=8000, help="default: 8000")
        parser.add_argument(
            "--demo", action="store_true", help="put an invented railway into an empty record"
        )

    def handle(self, *args, **options) -> None:
        self._settings_that_fit()
        # The socket is taken before anything is written, so that a second start by mistake says
        # so at once and leaves the first alone.
        host = options["host"] or (EVERYWHERE if options["network"] else "127.0.0.1")
        listener = self._listen(host, options["port"], is_open=options["network"])
        try:
            hosts = self._hosts(listener, is_open=options["network"])
            self._prepare()
            owner = self._owner()
            if options["demo"]:
                self._demo(owner)
            self._serve(listener, owner, hosts, is_open=options["network"])
        finally:
            listener.close()

    def _settings_that_fit(self) -> None:
        if any(map(is_loose, settings.ALLOWED_HOSTS)):
            raise CommandError(
                "CARKNOCKER_HOSTS lets the server be called by names of strangers, whose pages "
                "could then read the record through a browser in the house. Name each host in "
                "full, or leave it out."
            )
        if settings.HTTPS and not _names_of_ours():
            raise CommandError(
                "CARKNOCKER_HTTPS is 1, but nothing says by which name people come: set "
                "CARKNOCKER_HOSTS to it, such as cars.example.org."
            )

    def _hosts(self, listener: socket.socket, *, is_open: bool) -> list[str]:
        """By which names the server is called, the best first; refuses what is not safe."""
        bound_to = listener.getsockname()[0]
        if not is_open:
            return [bound_to]
        reached = reached_by(bound_to)
        found = dangers(
            debug=settings.DEBUG,
            data=settings.DATA,
            https=settings.HTTPS,
            trusted_proxy=settings.TRUSTED_PROXY,
            reached=reached,
        )
        if not reached:
            found.append(
                f"No phone could reach {bound_to}: this machine is in no network, or --host names "
                "an address that only it reaches. Join it to the house's, or leave out --network."
            )
        if found:
            raise CommandError(
                "Not opened to the house:\n" + "\n".join(f"- {each}" for each in found)
            )
        return reached

    def _listen(self, host: str, port: int, *, is_open: bool) -> socket.socket:
        if not 0 < port < 65536:
            raise CommandError(f"--port {port}: a port is a number from 1 to 65535.")
        try:
            family, kind, protocol, _, address = socket.getaddrinfo(
                host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
            )[0]
        except (OSError, UnicodeError) as error:
            raise CommandError(f"--host {host}: this machine has no such address.") from error
        if not is_open and not is_loopback(address[0]):
            raise CommandError(
                f"--host {host} would be reached from outside this machine. If the phones in the "
                "house shall reach it, add --network, which first looks whether that is safe; "
                "else leave out --host."
            )
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
            if error.errno in _NOT_OURS:
                raise CommandError(f"--host {host}: this machine has no such address.") from error
            raise CommandError(
                f"Port {port} on {host} is taken. If Carknocker is already running there, use "
                f"that one; else start with another port: python manage.py start --port {port + 1}"
            ) from error
        return listener

    def _prepare(self) -> None:
        self.stdout.write(f"The record is kept in {settings.DATA}")
        with in_turn():
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
        owners = Person.objects.filter(role=Person.Role.OWNER, is_active=True)
        owner = owners.order_by("pk").first()
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

    def _serve(
        self, listener: socket.socket, owner: Person, hosts: Sequence[str], *, is_open: bool
    ) -> None:
        # Imported here because the application is made when it is imported.
        from inventory.ledger.serving import server_of
        from inventory.wsgi import application

        hosts = [bracketed(each) for each in hosts]
        settings.ALLOWED_HOSTS += [each for each in hosts if each not in settings.ALLOWED_HOSTS]
        server = server_of(application, listener, trusted_proxy=settings.TRUSTED_PROXY)
        port = listener.getsockname()[1]
        bases = [f"http://{each}:{port}" for each in hosts]
        if settings.HTTPS:
            bases = [f"https://{each}" for each in _names_of_ours()]
        # A terminal that lacks a letter of somebody's name must not keep everybody out.
        letters = getattr(self.stdout, "encoding", None) or "utf-8"
        name = str(owner).encode(letters, "replace").decode(letters)
        self.stdout.write(
            f"Open this address to sign in as {name}; it works once, within an hour:"
        )
        self.stdout.write(f"\n    {bases[0]}{sign_in_path(owner)}\n\n")
        if is_open:
            self._say_who_reaches_it(bases)
        self.stdout.write("Stop with Ctrl-C. Everything is kept for the next start.")
        self.stdout.flush()
        is_over = keep_backing_up(self.stderr.write)
        # What keeps services running stops them by this signal, which would end the process in the
        # middle of pages and leave the record in two files.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
        try:
            server.run()
        finally:
            is_over.set()
            server.close()
            self.stdout.write("Stopped; everything is kept.")

    def _say_who_reaches_it(self, bases: Sequence[str]) -> None:
        self.stdout.write("Phones in the house reach it at:\n\n")
        self.stdout.write("".join(f"    {base}/\n" for base in bases) + "\n")
        if not settings.HTTPS:
            self.stdout.write(
                "What they send is not encrypted: use it in a network where you trust everybody, "
                "and never let your router pass it on to the internet."
            )


def _names_of_ours() -> list[str]:
    """The hosts by which others call this machine, as CARKNOCKER_HOSTS names them."""
    itself = ("127.0.0.1", "localhost", "[::1]")
    return [each.lstrip(".") for each in settings.ALLOWED_HOSTS if each not in itself]
