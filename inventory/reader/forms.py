"""What is typed for a reading token."""

from django import forms

from inventory.reader.models import ReadingToken


class TokenForm(forms.ModelForm):
    class Meta:
        model = ReadingToken
        fields = ("name",)
