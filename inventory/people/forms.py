import unicodedata

from django import forms
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm, SetPasswordForm
from django.contrib.auth.validators import UnicodeUsernameValidator
from django.core.exceptions import ValidationError

from inventory.people.admitting import name_is_taken
from inventory.people.guarding import Attempt, TooMany, address_of, begin_attempt
from inventory.people.models import Person

_JOINERS = "\u200c\u200d"
"""Unseen as well, but names in Persian and in Indian scripts are written with them."""


def refuse_unseen(name: str) -> None:
    """A name is told from another by looking at it, so nothing in it may be invisible."""
    unseen = [
        f"{unicodedata.name(ch, 'control character')} (U+{ord(ch):04X})"
        for ch in dict.fromkeys(name)
        if unicodedata.category(ch) in ("Cc", "Cf", "Co", "Cn") and ch not in _JOINERS
    ]
    if unseen:
        raise ValidationError(
            f"The name has characters in it that nobody sees: {', '.join(unseen)}. Type it anew, "
            "without copying."
        )
    if not any(unicodedata.category(ch)[0] in "LN" for ch in name):
        raise ValidationError(f"“{name}” has no letter in it; the record could not name anybody.")


class SignInForm(AuthenticationForm):
    """Name and password, tried only so often. `too_many` is what a refusal says."""

    error_messages = {
        **AuthenticationForm.error_messages,
        "invalid_login": "That name and password do not go together. Mind capitals in both.",
    }
    too_many: TooMany | None = None

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Sign-in name"

    def clean(self) -> dict[str, object]:
        name, password = self.cleaned_data.get("username"), self.cleaned_data.get("password")
        if not name or not password:
            return self.cleaned_data
        try:
            attempt = begin_attempt(name=name, address=address_of(self.request))
        except TooMany as refused:
            self.too_many = refused
            raise ValidationError(str(refused)) from refused
        cleaned = super().clean()
        attempt.succeeded()
        return cleaned


class FirstPasswordForm(SetPasswordForm):
    """A password where there is none yet."""

    def __init__(self, user: Person, *args, address: str = "", **kwargs) -> None:
        super().__init__(user, *args, **kwargs)


class NewPasswordForm(PasswordChangeForm):
    """A password in place of the present one, which is asked for and may be tried only so often:
    somebody may sit at another's phone."""

    def __init__(self, user: Person, *args, address: str = "", **kwargs) -> None:
        super().__init__(user, *args, **kwargs)
        self.address = address
        self.fields["old_password"].label = "Present password"
        del self.fields["old_password"].widget.attrs["autofocus"]

    def clean_old_password(self) -> str:
        try:
            attempt: Attempt = begin_attempt(name=self.user.username, address=self.address)
        except TooMany as refused:
            raise ValidationError(str(refused)) from refused
        old = super().clean_old_password()
        attempt.succeeded()
        return old


def password_form(person: Person, *args, address: str = "") -> SetPasswordForm:
    """The form by which this person sets a password: with the present one, if there is one."""
    form = NewPasswordForm if person.has_usable_password() else FirstPasswordForm
    return form(person, *args, address=address)


class PreferencesForm(forms.ModelForm):
    class Meta:
        model = Person
        fields = ["first_name", "last_name", "unit", "rule"]
        widgets = {"unit": forms.RadioSelect, "rule": forms.RadioSelect}

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        for field in ("first_name", "last_name"):
            self.fields[field].validators.append(refuse_unseen)

    def clean(self) -> dict[str, object]:
        data = super().clean()
        name = f"{data.get('first_name') or ''} {data.get('last_name') or ''}".strip()
        if name and name_is_taken(name, but=self.instance):
            taken = f"Somebody else is called {name}; the record could not tell you apart."
            self.add_error("first_name", taken)
        return data


def _roles() -> list[tuple[str, str]]:
    return [
        (Person.Role.OWNER.value, "owner: everything, and people and backups"),
        (Person.Role.INSPECTOR.value, "inspector: measures, reports, releases, edits"),
        (Person.Role.VISITOR.value, "visitor: reads, and changes nothing"),
    ]


class PersonForm(forms.Form):
    """Who somebody is."""

    name = forms.CharField(
        max_length=120,
        validators=[refuse_unseen],
        help_text="As the record is to name them, such as Ida Berg or just Ida.",
    )
    role = forms.ChoiceField(
        choices=_roles, widget=forms.RadioSelect, initial=Person.Role.INSPECTOR.value
    )


class AmendPersonForm(PersonForm):
    """Who somebody is, with the name by which they sign in."""

    username = forms.CharField(
        label="Sign-in name",
        max_length=150,
        validators=[UnicodeUsernameValidator()],
        help_text="Needed only for signing in with a password.",
    )
    field_order = ["name", "username", "role"]
