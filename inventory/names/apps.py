from django.apps import AppConfig


class NamesRoom(AppConfig):
    name = "inventory.names"
    label = "names"
    default_auto_field = "django.db.models.BigAutoField"
