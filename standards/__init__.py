"""What the published standards say, and whether a measured vehicle meets them.

Pure Python: no web framework, no clock, no settings, no translation.
"""
