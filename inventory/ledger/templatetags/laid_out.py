"""Names of sections as words."""

from django import template

register = template.Library()


@register.filter
def spaced(name: str) -> str:
    """track_inspections -> track inspections"""
    return name.replace("_", " ")
