from django.apps import AppConfig


class ChangeRoom(AppConfig):
    name = "census.change"
    label = "change"
    default_auto_field = "django.db.models.BigAutoField"
