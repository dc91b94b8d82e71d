from django.apps import AppConfig


class ReaderConfig(AppConfig):
    name = "inventory.reader"
    verbose_name = "reader"
