from django.apps import AppConfig


class PermitsRoom(AppConfig):
    name = "inventory.permits"
    label = "permits"
    default_auto_field = "django.db.models.BigAutoField"
