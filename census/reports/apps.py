from django.apps import AppConfig


class ReportsRoom(AppConfig):
    name = "census.reports"
    label = "reports"
    default_auto_field = "django.db.models.BigAutoField"
