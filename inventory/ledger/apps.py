from django.apps import AppConfig


class LedgerConfig(AppConfig):
    name = "inventory.ledger"
    verbose_name = "ledger"
