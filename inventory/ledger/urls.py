from django.urls import path

from inventory.ledger import backup_pages, everything, views
from inventory.ledger.lists import views as lists
from inventory.ledger.shape import SCHEMA_FILE

app_name = "ledger"
urlpatterns = [
    path("", views.overview, name="overview"),
    path("vehicles/<int:pk>/", views.history, name="history"),
    path("import/", lists.bring, name="import"),
    path("import/<str:token>/", lists.look_through, name="look-through"),
    path("import/<str:token>/columns/", lists.columns_of, name="import-columns"),
    path("import/<str:token>/do/", lists.carry_out, name="carry-out"),
    path("import/<str:token>/discard/", lists.discard, name="discard-list"),
    path("export/", lists.export, name="export"),
    path("export/vehicles.<str:kind>", lists.download, name="download-list"),
    path("backups/", backup_pages.backups, name="backups"),
    path("backups/now/", backup_pages.back_up_now, name="back-up-now"),
    path("backups/restore/", backup_pages.restore_now, name="restore-now"),
    path("backups/<str:name>/", backup_pages.download, name="download-backup"),
    path("backups/<str:name>/check/", backup_pages.check_now, name="check-backup"),
    path("everything/", everything.everything, name="everything"),
    path(
        "everything/carknocker.<str:suffix>",
        everything.export_everything,
        name="export-everything",
    ),
    path("everything/import/", everything.import_everything, name="import-everything"),
    path("export/shape/", everything.shape, name="shape"),
    path(f"export/shape/{SCHEMA_FILE}", everything.shape_schema, name="shape-schema"),
]
