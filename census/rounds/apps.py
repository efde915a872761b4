from django.apps import AppConfig


class RoundsRoom(AppConfig):
    name = "census.rounds"
    label = "rounds"
    default_auto_field = "django.db.models.BigAutoField"
