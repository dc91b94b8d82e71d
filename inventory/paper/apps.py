from django.apps import AppConfig


class PaperConfig(AppConfig):
    name = "inventory.paper"
    verbose_name = "paper"
