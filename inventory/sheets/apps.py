from django.apps import AppConfig


class SheetsConfig(AppConfig):
    name = "inventory.sheets"
    label = "sheets"
    verbose_name = "Standards pages"
