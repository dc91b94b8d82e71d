from django.apps import AppConfig


class DrawingConfig(AppConfig):
    name = "inventory.drawing"
    label = "drawing"
    verbose_name = "Drawings"
