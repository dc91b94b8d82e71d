from django.urls import URLPattern, path, re_path

from inventory.ledger import everything
from inventory.ledger.shape import SCHEMA_FILE

app_name = "ledger"
urlpatterns: list[URLPattern] = [
    path("everything/", everything.everything, name="everything"),
    re_path(
        r"^everything/carknocker\.(?P<suffix>json|zip|xlsx)$",
        everything.export_everything,
        name="export-everything",
    ),
    path("everything/import/", everything.import_everything, name="import-everything"),
    path("export/shape/", everything.shape, name="shape"),
    path(f"export/shape/{SCHEMA_FILE}", everything.shape_schema, name="shape-schema"),
]
