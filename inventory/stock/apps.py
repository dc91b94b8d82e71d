from django.apps import AppConfig


class StockConfig(AppConfig):
    name = "inventory.stock"
    label = "stock"
    verbose_name = "Stock"
