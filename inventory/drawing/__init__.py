"""Drawings from plain numbers: SVG markup out; no models, no settings, no clock."""
