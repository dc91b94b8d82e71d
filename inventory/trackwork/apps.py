from django.apps import AppConfig


class TrackworkConfig(AppConfig):
    name = "inventory.trackwork"
    verbose_name = "trackwork"

    def ready(self) -> None:
        from inventory.trackwork import recording  # noqa: F401 - it listens for changes
