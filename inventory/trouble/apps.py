from django.apps import AppConfig


class TroubleConfig(AppConfig):
    name = "inventory.trouble"
    verbose_name = "trouble"

    def ready(self) -> None:
        from inventory.trouble import recording  # noqa: F401 - it listens for finished inspections
