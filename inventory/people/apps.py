from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "inventory.people"
    label = "people"
    verbose_name = "People"

    def ready(self) -> None:
        from inventory.people import devices  # noqa: F401  listens to who signs in and out
