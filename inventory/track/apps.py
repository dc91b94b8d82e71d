from django.apps import AppConfig


class TrackConfig(AppConfig):
    name = "inventory.track"
    label = "track"
    verbose_name = "Tracks"

    def ready(self) -> None:
        from inventory.track import homes  # noqa: F401 - it listens for retired vehicles
