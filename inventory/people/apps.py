from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "inventory.people"
    label = "people"
    verbose_name = "People"
