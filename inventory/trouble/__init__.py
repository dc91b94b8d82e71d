"""Derailments and what they say: the reckoning of blame. No tables yet."""
