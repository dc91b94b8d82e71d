from django.urls import path

from inventory.ledger import backup_pages, views

app_name = "ledger"
urlpatterns = [
    path("", views.overview, name="overview"),
    path("vehicles/<int:pk>/", views.history, name="history"),
    path("backups/", backup_pages.backups, name="backups"),
    path("backups/now/", backup_pages.back_up_now, name="back-up-now"),
    path("backups/restore/", backup_pages.restore_now, name="restore-now"),
    path("backups/<str:name>/", backup_pages.download, name="download-backup"),
    path("backups/<str:name>/check/", backup_pages.check_now, name="check-backup"),
]
