"""The one writer of people: who is let in, as what, and who is put out."""

from __future__ import annotations

import re
import unicodedata

from django.db import IntegrityError, transaction
from django.db.models import Q

from inventory.people.devices import end_all
from inventory.people.links import take_back
from inventory.people.models import Person


class PeopleRefused(Exception):
    """Nothing was changed, and why, in words. `field` is what it is about, if it is one."""

    def __init__(self, words: str, field: str | None = None) -> None:
        self.field = field
        super().__init__(words)


def name_is_taken(name: str, *, but: Person | None = None) -> bool:
    """Whether the record already calls somebody else so; it could not tell the two apart."""
    plain = _plain(name)
    others = Person.objects.exclude(pk=but.pk if but else None)
    return any(plain in (_plain(str(each)), _plain(each.username)) for each in others)


def _plain(name: str) -> str:
    """What two names share that look alike: case, width, blanks and unseen characters apart."""
    seen = "".join(ch for ch in name if unicodedata.category(ch) != "Cf")
    return " ".join(unicodedata.normalize("NFKC", seen).split()).casefold()


def _spare_name(name: str) -> str:
    """A sign-in name made of a name: “ida.berg”, and a number behind it where that is taken."""
    letters = unicodedata.normalize("NFKD", name)
    base = re.sub(r"[^a-z0-9]+", ".", letters.encode("ascii", "ignore").decode().lower())
    base = base.strip(".")[:100] or "person"
    taken = set(
        Person.objects.filter(username__startswith=base).values_list("username", flat=True)
    )
    numbered = (f"{base}.{n}" for n in range(2, len(taken) + 3))
    return base if base not in taken else next(each for each in numbered if each not in taken)


def _split(name: str) -> dict[str, str]:
    """One name in the two boxes that it is kept in; joined again it reads the same."""
    first, _, last = " ".join(name.split()).partition(" ")
    return {"first_name": first, "last_name": last}


@transaction.atomic
def admit(*, name: str, role: str) -> Person:
    """Add a person, who comes in by a sign-in link.

    Raises PeopleRefused if somebody is called so already.
    """
    _refuse_twin(name)
    try:
        with transaction.atomic():
            return Person.objects.create_user(_spare_name(name), role=role, **_split(name))
    except IntegrityError as error:
        raise PeopleRefused(f"Somebody added {name} at the same moment.", "name") from error


def _refuse_twin(name: str, but: Person | None = None) -> None:
    if name_is_taken(name, but=but):
        raise PeopleRefused(
            f"{name} is in the record already, perhaps among those put out. Add a second name, so "
            "that the record tells them apart.",
            "name",
        )


@transaction.atomic
def amend_person(*, person: Person, name: str, username: str, role: str) -> Person:
    """Change a person's name, sign-in name and role.

    Raises PeopleRefused for the last owner's role, and for a name that somebody else has.
    """
    now = _locked(person, loses_an_owner=role != Person.Role.OWNER)
    _refuse_twin(name, but=now)
    if Person.objects.exclude(pk=now.pk).filter(username__iexact=username).exists():
        raise PeopleRefused(
            f"“{username}” is somebody else's sign-in name; choose another.", "username"
        )
    now.username, now.role = username, role
    for field, value in _split(name).items():
        setattr(now, field, value)
    now.save(update_fields=["username", "role", "first_name", "last_name"])
    return now


@transaction.atomic
def put_out(*, person: Person) -> int:
    """Let a person in no more and sign them out everywhere; gives from how many devices.

    Raises PeopleRefused for the last owner.
    """
    now = _locked(person, loses_an_owner=True)
    now.is_active = False
    now.save(update_fields=["is_active"])
    take_back(now)
    return end_all(now)


@transaction.atomic
def let_in(*, person: Person) -> None:
    Person.objects.filter(pk=person.pk).update(is_active=True)


@transaction.atomic
def take_password(*, person: Person) -> int:
    """Take the password of somebody who forgot it, and sign them out everywhere.

    A sign-in link lets them in again, and they set another without being asked for the old one.
    """
    now = Person.objects.select_for_update().get(pk=person.pk)
    now.set_unusable_password()
    now.save(update_fields=["password"])
    take_back(now)
    return end_all(now)


def is_last_owner(person: Person) -> bool:
    """Whether nobody else could let anybody in."""
    others = Person.objects.filter(role=Person.Role.OWNER, is_active=True).exclude(pk=person.pk)
    return person.is_owner and person.is_active and not others.exists()


def _locked(person: Person, *, loses_an_owner: bool) -> Person:
    """The person as they are now, locked together with all owners.

    All owners are locked and in one order, so that of two owners who put each other out at once
    one stays. Raises PeopleRefused if no owner would.
    """
    concerned = Q(pk=person.pk) | Q(role=Person.Role.OWNER, is_active=True)
    rows = list(Person.objects.select_for_update().filter(concerned).order_by("pk"))
    now = next(each for each in rows if each.pk == person.pk)
    owners = [each for each in rows if each.is_owner and each.is_active]
    if loses_an_owner and owners == [now]:
        raise PeopleRefused(
            f"{now} is the last owner; without one nobody could let anybody in. Make somebody "
            "else an owner first.",
            "role",
        )
    return now
