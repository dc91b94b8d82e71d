"""How photos are kept, whatever is on them: added behind the others, moved, described, removed.

The writers of each room call it, as they call `taking` for readings; and a photo that came with a
faulty form waits here until the form comes again.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import IO
from uuid import UUID

from django.db import models, transaction
from django.utils import timezone

from inventory.people.models import Person
from inventory.stock.facts import Pictured
from inventory.stock.models import SetAside
from inventory.stock.photos import Cleaned, PhotoRefused, cleaned, known_as

MOST_AT_ONCE = 12
#: So many stay usable as a strip on one page.
MOST_OF_ONE = 60
WAITS = timedelta(hours=1)
#: Of one person, so that a form sent again and again fills nobody's disk.
MOST_ASIDE = 2 * MOST_AT_ONCE


@dataclass(frozen=True)
class NewPhoto:
    """A photo to be kept. taken_on: when somebody knows better than the camera."""

    picture: Cleaned
    caption: str = ""
    taken_on: date | None = None
    name: str = ""  # of its file
    aside: UUID | None = None  # where it waited until now


@transaction.atomic
def hang(
    *,
    into: type[Pictured],
    of: models.Model,
    photos: Sequence[NewPhoto],
    by: Person,
    moment: datetime | None = None,
) -> list[Pictured]:
    """Keep photos of something behind those that it has.

    A day of the camera's that is still to come is its clock's mistake: today stands instead.
    Raises PhotoRefused, and keeps none, where it would have more than MOST_OF_ONE.
    """
    _locked(of)
    there = into.objects.filter(**{into.role: of})
    n_there = there.count()
    if n_there + len(photos) > MOST_OF_ONE:
        raise PhotoRefused(
            f"{of} has {n_there} photos: at most {MOST_OF_ONE} are kept of one. Remove some first."
        )
    last = there.aggregate(last=models.Max("position"))["last"] or 0
    now, today = moment or timezone.now(), timezone.localdate(moment)
    kept = []
    for position, photo in enumerate(photos, start=last + 1):
        picture, day = photo.picture, photo.taken_on or photo.picture.taken_on
        kept.append(
            into.objects.create(
                **{into.role: of},
                jpeg=picture.jpeg,
                thumbnail=picture.thumbnail,
                digest=picture.digest,
                width=picture.width,
                height=picture.height,
                caption=photo.caption.strip(),
                taken_on=day if day and day <= today + timedelta(days=1) else today,
                position=position,
                added_by=by,
                added_at=now,
            )
        )
    SetAside.objects.filter(pk__in=[each.aside for each in photos if each.aside]).delete()
    return kept


@transaction.atomic
def shift(photo: Pictured, *, is_earlier: bool) -> None:
    """Exchange a photo with the one before or behind it; the first and the last stay."""
    into = type(photo)
    _locked(photo.subject)
    photo = into.objects.get(pk=photo.pk)
    others = into.objects.filter(**{into.role: photo.subject})
    if is_earlier:
        other = others.filter(position__lt=photo.position).order_by("-position").first()
    else:
        other = others.filter(position__gt=photo.position).order_by("position").first()
    if other is None:
        return
    # No two may share a position at any moment, so that one steps out of the row meanwhile.
    here, there = photo.position, other.position
    out_of_the_row = others.aggregate(last=models.Max("position"))["last"] + 1
    for each, position in ((photo, out_of_the_row), (other, here), (photo, there)):
        into.objects.filter(pk=each.pk).update(position=position)


@transaction.atomic
def describe(photo: Pictured, *, caption: str, taken_on: date) -> str:
    """Change what is said of a photo; the picture itself never changes.

    Gives what was changed, in words, empty where nothing was. Not the caption itself: removed
    with its photo, it must stand nowhere else.
    """
    into = type(photo)
    _locked(photo.subject)
    before = into.objects.get(pk=photo.pk)
    into.objects.filter(pk=photo.pk).update(caption=caption.strip(), taken_on=taken_on)
    words = []
    if before.caption != caption.strip():
        words.append("the caption of a photo changed")
    if before.taken_on != taken_on:
        words.append(f"the day of a photo changed from {before.taken_on} to {taken_on}")
    return ", ".join(words)


def take_down(photo: Pictured) -> None:
    """Remove a photo for good: its picture, its caption and all. A database file overwrites what
    was there (`secure_delete` in the settings)."""
    type(photo).objects.filter(pk=photo.pk).delete()


def _locked(of: models.Model) -> None:
    """Whoever adds or moves photos of the same thing waits for the other."""
    type(of)._base_manager.select_for_update().get(pk=of.pk)


# --- Files as they were sent ------------------------------------------------------------------


@dataclass
class Chosen:
    """What came with a form: photos that may be kept, and what was refused, in words."""

    photos: list[NewPhoto] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    aside: Sequence[SetAside] = ()  # what waits for the form to come again

    def described(self, *, caption: str, taken_on: date | None) -> list[NewPhoto]:
        """All of them with what was typed of them."""
        return [replace(each, caption=caption, taken_on=taken_on) for each in self.photos]


def chosen(files: Iterable[IO[bytes]], by: Person, tokens: Sequence[str] = ()) -> Chosen:
    """Clean the files that came with a form, and take up those that were set aside before.

    One that cannot be kept is named in `refused` and holds nobody else back.
    """
    found = Chosen()
    _forget_old()
    waiting = _waiting(by, tokens)
    for aside in waiting:
        picture = Cleaned(
            bytes(aside.jpeg), bytes(aside.thumbnail), aside.width, aside.height, aside.taken_on
        )
        found.photos.append(NewPhoto(picture, name=aside.called, aside=aside.token))
    if len(waiting) < len(set(tokens)):
        found.refused.append(
            "A photo that was set aside more than an hour ago is gone: choose it again."
        )
    beyond = []
    for file in files:
        if len(found.photos) >= MOST_AT_ONCE:
            beyond.append(known_as(file.name))
            continue
        try:
            picture = cleaned(file, file.name)
        except PhotoRefused as refused:
            found.refused.append(str(refused))
        else:
            found.photos.append(NewPhoto(picture, name=known_as(file.name)))
    if beyond:
        found.refused.append(_too_many(beyond))
    return found


def _too_many(names: Sequence[str]) -> str:
    """One sentence, however many were chosen beyond what is taken at a time."""
    if len(names) == 1:
        return f"{names[0]} is one too many: at most {MOST_AT_ONCE} at a time, add it afterwards."
    return (
        f"{', '.join(names[:-1])} and {names[-1]} are {len(names)} too many: at most "
        f"{MOST_AT_ONCE} at a time, add them afterwards."
    )


def _waiting(by: Person, tokens: Sequence[str]) -> list[SetAside]:
    """What this person set aside under these tokens; nobody else's."""
    keys = []
    for token in tokens[:MOST_AT_ONCE]:
        try:
            keys.append(UUID(token))
        except ValueError:
            continue
    held = SetAside.objects.filter(pk__in=keys, sent_by=by)
    return list(held.defer(None))


@transaction.atomic
def set_aside(found: Chosen, by: Person) -> None:
    """Keep the photos of a form that has another error until it comes again, for an hour."""
    if not found.photos:
        return
    now = timezone.now()
    held = [each.aside for each in found.photos if each.aside]
    for n, photo in enumerate(found.photos):
        if photo.aside is None:
            picture = photo.picture
            aside = SetAside.objects.create(
                jpeg=picture.jpeg,
                thumbnail=picture.thumbnail,
                width=picture.width,
                height=picture.height,
                taken_on=picture.taken_on,
                called=photo.name[:60],
                sent_by=by,
                sent_at=now + timedelta(microseconds=n),  # so that they stay in their order
            )
            held.append(aside.token)
    mine = SetAside.objects.filter(sent_by=by)
    beyond = list(mine.order_by("-sent_at", "pk").values_list("pk", flat=True)[MOST_ASIDE:])
    mine.filter(pk__in=beyond).delete()
    found.aside = list(mine.filter(pk__in=held))


def _forget_old() -> None:
    old = SetAside.objects.filter(sent_at__lt=timezone.now() - WAITS)
    if old.exists():
        old.delete()
