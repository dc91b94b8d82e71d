"""The keys by which scripts read the record."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q


class ReadingToken(models.Model):
    """A key that a person made for a script of theirs. It reads, and can do nothing else.

    Only a digest of it is kept: whoever gets hold of the record has no key by that.
    """

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="reading_tokens", editable=False
    )
    name = models.CharField(
        max_length=60, help_text="What it is for, such as: signal box on the Raspberry."
    )
    digest = models.CharField(max_length=64, unique=True, editable=False)
    made_at = models.DateTimeField(editable=False)
    last_used_at = models.DateTimeField(null=True, editable=False)
    ended_at = models.DateTimeField(null=True, editable=False)

    class Meta:
        ordering = ["made_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["person", "name"],
                condition=Q(ended_at__isnull=True),
                name="one_token_of_a_name",
            )
        ]

    def __str__(self) -> str:
        return self.name
