from django.apps import AppConfig


class TrackConfig(AppConfig):
    name = "inventory.track"
    label = "track"
    verbose_name = "Tracks"
