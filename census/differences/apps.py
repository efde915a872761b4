from django.apps import AppConfig


class DifferencesRoom(AppConfig):
    name = "census.differences"
    label = "differences"
    default_auto_field = "django.db.models.BigAutoField"
