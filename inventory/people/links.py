"""Sign-in addresses that work once.

The token is Django's own keyed hash over the person, the password and the last sign-in: signing
in changes the last of these, so the address dies with its first use. Nothing is stored.
"""

from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.urls import reverse
from django.utils.encoding import force_str
from django.utils.http import urlsafe_base64_decode, urlsafe_base64_encode

from inventory.people.models import Person


class _OnceOnly(PasswordResetTokenGenerator):
    key_salt = "inventory.people.links"

    def _make_hash_value(self, user: Person, timestamp: int) -> str:
        # Django's own cuts the last sign-in to whole seconds, and an address used within the
        # second of an earlier sign-in would work twice.
        last = "" if user.last_login is None else user.last_login.isoformat()
        return f"{user.pk}{user.password}{last}{timestamp}{user.is_active}"


_tokens = _OnceOnly()


def sign_in_path(person: Person) -> str:
    """The path of an address that signs this person in, once, within an hour."""
    who = urlsafe_base64_encode(str(person.pk).encode())
    return reverse("people:arrive", args=[who, _tokens.make_token(person)])


def person_for(who: str, token: str) -> Person | None:
    """The person whom a token signs in, or None if it is used up, too old or not ours."""
    try:
        person = Person.objects.get(pk=int(force_str(urlsafe_base64_decode(who))), is_active=True)
    except (ValueError, OverflowError, Person.DoesNotExist):
        return None
    return person if _tokens.check_token(person, token) else None
