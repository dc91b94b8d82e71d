from django import forms

from inventory.people.models import Person


class PreferencesForm(forms.ModelForm):
    class Meta:
        model = Person
        fields = ["first_name", "last_name", "unit", "rule"]
        widgets = {"unit": forms.RadioSelect, "rule": forms.RadioSelect}
